#!/usr/bin/env bash
# Instructions that each step of one made night takes, by valgrind: steadier than seconds on a shared machine.
# Prints a Markdown table; a step's count is its run less the run of the step before.
set -euo pipefail
cd "$(dirname "$0")/.."
command -v valgrind >/dev/null || { echo "valgrind is missing; install the Debian package valgrind" >&2; exit 1; }
target=${CARGO_TARGET_DIR:-$PWD/target}
cargo build --locked --release -p engine --example night_once

# Everything up to a step, in instructions.
count() {
  valgrind --tool=callgrind --callgrind-out-file=/dev/null "$target/release/examples/night_once" "$1" 2>&1 >/dev/null |
    sed -nE 's/.*Collected : ([0-9]+).*/\1/p'
}

echo "| step | million instructions |"
echo "|---|---:|"
before=$(count nothing)
first=$before
for step in read screen correct score judge html; do
  now=$(count "$step")
  [ -n "$now" ] || continue
  awk -v step="$step" -v a="$before" -v b="$now" 'BEGIN {printf "| %s | %.1f |\n", step, (b - a) / 1e6}'
  before=$now
done
awk -v a="$first" -v b="$before" 'BEGIN {printf "| **bytes to the last** | %.1f |\n", (b - a) / 1e6}'
