#!/usr/bin/env bash
# Takes 100,000 changes in daily bundles into an empty store with the real program,
# and prints its time and the most memory that it had (resident set).
#
#   bash testdata/time-take.sh
set -euo pipefail
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
go build -o "$work/pulk" ./cmd/pulk
go test ./cmd/pulk -run TestBigStore -bigstore "$work/home.db" -bigbundles "$work" -changes 100000 >/dev/null
python3 - "$work" <<'PYTHON'
import glob, resource, subprocess, sys, time
work = sys.argv[1]
start = time.monotonic()
subprocess.run([work + "/pulk", "bundle", "take", "--store", work + "/home.db", *sorted(glob.glob(work + "/*.bundle"))],
               check=True, stdout=subprocess.DEVNULL)
peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
print("bundle take, 100,000 changes: %.1f s, %.0f MB resident at most" % (time.monotonic() - start, peak / 1024))
PYTHON
