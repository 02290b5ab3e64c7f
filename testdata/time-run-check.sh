#!/usr/bin/env bash
# Times the whole `pulk run check` process on a store with 1,000,000 changes and on
# one with 10,000, in turn, and prints the median of each and their ratio. Beside it: how
# long the program takes to start. Fails where the larger takes 50 ms or more (on a slow
# machine: see timing.sh), or 1.3 times what the smaller takes.
#
#   bash testdata/time-run-check.sh [RUNS]      RUNS: timed runs on each store, 41 by default
#
# Needs about 400 MB below $TMPDIR, which it removes again.
set -euo pipefail
cd "$(dirname "$0")/.."
source testdata/timing.sh
runs=${1:-41}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
go build -o "$work/pulk" ./cmd/pulk
go test ./cmd/pulk -run TestBigStore -bigstore "$work/small.db" -changes 10000 >/dev/null
go test ./cmd/pulk -run TestBigStore -bigstore "$work/large.db" -changes 1000000 >/dev/null

# A procedure of real size, with one step to check off in each timed run.
{
  printf 'id: timing\ntitle: Timing of check-offs\nrevision: "1"\nhazards:\n  - {name: None, caution: Nothing here can hurt.}\nroles: [technician]\nsteps:\n'
  for n in $(seq 1 "$runs"); do printf '  - {id: "%d", kind: do, role: technician, text: Check off.}\n' "$n"; done
} >"$work/timing.yaml"

export PULK_AS=tim
declare -A run
for size in small large; do
  export PULK_STORE=$work/$size.db
  "$work/pulk" person add tim --name Tim --role technician >/dev/null
  "$work/pulk" procedure import "$work/timing.yaml" >/dev/null
  run[$size]=$("$work/pulk" run start timing | awk 'NR==1{print $3}')
done

for n in $(seq 1 "$runs"); do
  for size in small large; do
    export PULK_STORE=$work/$size.db
    timed "$work/$size" "$work/pulk" run check "${run[$size]}" "$n"
  done
  timed "$work/help" "$work/pulk" run check --help
done

small=$(median "$work/small") large=$(median "$work/large") help=$(median "$work/help")
awk -v s="$small" -v l="$large" -v h="$help" 'BEGIN{
  printf "run check, whole process, median: %.1f ms with 10,000 changes, %.1f ms with 1,000,000, ratio %.2f; %.1f ms to start and show help\n", s/1000, l/1000, l/s, h/1000
  exit l >= 1.3*s}'
within "$large" 50 "$help"
