#!/usr/bin/env bash
# Times the whole `pulk run check` process on a step whose limit is worked out by a
# formula, and on one whose limit is a number, in turn, in a procedure that has both by
# the dozen, and prints the median of each. Beside it: how long the program takes to
# start. Fails where a check with a formula takes 60 ms or more (on a slow machine: see
# timing.sh).
#
#   bash testdata/time-run-formula.sh [RUNS]      RUNS: timed runs of each, 41 by default
set -euo pipefail
cd "$(dirname "$0")/.."
source testdata/timing.sh
runs=${1:-41}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
go build -o "$work/pulk" ./cmd/pulk

# Each odd step has a fixed limit, each even one a formula over the first, in a function
# of the trade.
{
  printf 'id: timing\ntitle: Timing of formulas\nrevision: "1"\nhazards: []\nroles: [technician]\n'
  printf 'inputs:\n  depth: {step: "0"}\n  latitude: {place: latitude, unit: deg, example: -72.5}\nsteps:\n'
  printf '  - {id: "0", kind: reading, role: technician, text: Read., reading: {quantity: depth, unit: m, limits: none, example: 2100}}\n'
  for n in $(seq 1 "$runs"); do
    printf '  - {id: n%d, kind: reading, role: technician, text: Read., reading: {quantity: pressure, unit: bar, limits: {max: 300}}}\n' "$n"
    printf '  - {id: f%d, kind: reading, role: technician, text: Read., reading: {quantity: pressure, unit: bar, limits: {expected: {formula: "hole_pressure(depth, latitude)"}, tolerance: 1}}}\n' "$n"
  done
} >"$work/timing.yaml"

export PULK_AS=tim PULK_STORE=$work/pulk.db
"$work/pulk" init --campaign "Timing" --code stn --name "Timing" >/dev/null
"$work/pulk" person add tim --name Tim --role technician >/dev/null
"$work/pulk" location add hole >/dev/null
"$work/pulk" location position hole --latitude -72.5 >/dev/null
"$work/pulk" procedure import "$work/timing.yaml" >/dev/null
run=$("$work/pulk" run start timing --at hole | awk 'NR==1{print $3}')
"$work/pulk" run check "$run" 0 2100 >/dev/null

for n in $(seq 1 "$runs"); do
  timed "$work/number" "$work/pulk" run check "$run" "n$n" 207.3
  timed "$work/formula" "$work/pulk" run check "$run" "f$n" 207.3
  timed "$work/help" "$work/pulk" run check --help
done

formula=$(median "$work/formula") help=$(median "$work/help")
awk -v n="$(median "$work/number")" -v f="$formula" -v h="$help" -v r="$runs" 'BEGIN{
  printf "run check, whole process, median: %.1f ms with a number as limit, %.1f ms with a formula (%d of each in the procedure); %.1f ms to start and show help\n", n/1000, f/1000, r, h/1000}'
within "$formula" 60 "$help"
