#!/usr/bin/env bash
# Runs every tests/outside/*.py in an environment of its own, with pinned libraries.
#
# Each check is called with the `matins` program as its only argument and finds in its surroundings
#   EXAMPLES   the folder of the engine's built examples
#   WORK       an empty folder of its own
# It ends with status 0 and says `N checked` on its last line; a check that checked nothing has failed.
set -uo pipefail
cd "$(dirname "$0")/../.."
: "${MATINS:?the program to check}" "${EXAMPLES:?the folder of built examples}"
: "${WORK:?a folder to work in}" "${ENVIRONMENT:?a folder for the Python environment}"
export EXAMPLES PYTHONDONTWRITEBYTECODE=1

requirements=tests/outside/requirements.txt
stamp=$ENVIRONMENT/requirements.txt
if ! cmp -s "$requirements" "$stamp"; then
  rm -rf "$ENVIRONMENT"
  if ! python3 -m venv "$ENVIRONMENT"; then
    rm -rf "$ENVIRONMENT"
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
      apt-get update -qq && apt-get install -y -qq --no-install-recommends python3-venv >/dev/null
    fi
    python3 -m venv "$ENVIRONMENT" || {
      echo "Python cannot make an environment; install the Debian package python3-venv" >&2
      exit 1
    }
  fi
  "$ENVIRONMENT/bin/pip" install --quiet --disable-pip-version-check --only-binary=:all: \
    -r "$requirements" || exit 1
  cp "$requirements" "$stamp"
fi

passed=0
failed=()
for check in ${ONLY:-tests/outside/*.py}; do
  name=$(basename "$check" .py)
  case $name in _*) continue ;; esac # Shared helpers, not checks.
  echo "-- outside/$name"
  rm -rf "${WORK:?}/$name"
  mkdir -p "$WORK/$name"
  WORK=$WORK/$name "$ENVIRONMENT/bin/python" "$check" "$MATINS" 2>&1 | tee "$WORK/$name.log"
  status=${PIPESTATUS[0]}
  checked=$(sed -nE 's/^([0-9]+) checked$/\1/p' "$WORK/$name.log" | tail -n 1)
  if [ "$status" -eq 0 ] && [ "${checked:-0}" -gt 0 ]; then
    passed=$((passed + 1))
  else
    [ "$status" -eq 0 ] && echo "$name checked nothing: its last line must say \`N checked\`"
    failed+=("$name")
  fi
done
[ "$passed" -gt 0 ] || { echo "no outside check passed" >&2; exit 1; }
[ ${#failed[@]} -eq 0 ] || { echo "outside checks failed: ${failed[*]}" >&2; exit 1; }
echo "outside: $passed checks"
