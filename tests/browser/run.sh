#!/usr/bin/env bash
# The workbench in a real browser. MATINS names the program; pictures of every page go to SHOTS.
#
#   MATINS=target/debug/matins tests/browser/run.sh [FILE…]
set -euo pipefail
cd "$(dirname "$0")"
export SHOTS=${SHOTS:-../../target/check/shots}
export MATINS=${MATINS:?the program to be tested}
export PLAYWRIGHT_SKIP_BROWSER_DOWNLOAD=1
npm ci --no-audit --no-fund --silent
files=("$@")
[ ${#files[@]} -gt 0 ] || files=(*.test.mjs)
# Invented departments that were made, for all files; they run one after another.
DEMOS=$(mktemp -d)
export DEMOS
trap 'rm -rf "$DEMOS"' EXIT
node --test --test-reporter=spec --test-concurrency=1 "${files[@]}"
