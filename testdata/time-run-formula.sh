#!/usr/bin/env bash
# Times the whole `pulk run check` process on a step whose limit is worked out by a
# formula, and on one whose limit is a number, in turn, in a procedure that has both by
# the dozen, and prints the median of each. Fails where a check with a formula takes 60
# ms or more. Beside it: how long a command that needs no formula takes to start.
#
#   bash testdata/time-run-formula.sh [RUNS]      RUNS: timed runs of each, 41 by default
set -euo pipefail
cd "$(dirname "$0")/.."
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

# timed FILE COMMAND…: appends how long a command took, in microseconds.
timed() {
  local file=$1 start end
  shift
  start=$EPOCHREALTIME
  "$@" >/dev/null
  end=$EPOCHREALTIME
  echo $((${end/./} - ${start/./})) >>"$work/$file"
}

for n in $(seq 1 "$runs"); do
  timed number "$work/pulk" run check "$run" "n$n" 207.3
  timed formula "$work/pulk" run check "$run" "f$n" 207.3
  timed help "$work/pulk" run check --help
done

median() { sort -n "$work/$1" | awk '{v[NR]=$1} END{print v[int((NR+1)/2)]}'; }
awk -v n="$(median number)" -v f="$(median formula)" -v h="$(median help)" -v r="$runs" 'BEGIN{
  printf "run check, whole process, median: %.1f ms with a number as limit, %.1f ms with a formula (%d of each in the procedure); %.1f ms to start and show help\n", n/1000, f/1000, r, h/1000
  exit f >= 60000}'
