#!/usr/bin/env bash
# A PostgreSQL server for the tests, in a folder of its own, on loopback alone.
#
#   tests/postgres.sh start FOLDER   starts it if it does not run and prints its address
#   tests/postgres.sh stop FOLDER    stops it and throws its data away
#
# The server refuses to run as root, so root hands it to the user `postgres`.
set -euo pipefail

act=${1:?start or stop} folder=${2:?a folder}

tool() {
  command -v "$1" || ls -d /usr/lib/postgresql/*/bin/"$1" 2>/dev/null | sort -V | tail -n 1
}

as_server() {
  if [ "$(id -u)" = 0 ]; then su postgres -s /bin/bash -c "$1"; else bash -c "$1"; fi
}

control=$(tool pg_ctl || true) initdb=$(tool initdb || true)
[ -n "$control" ] && [ -n "$initdb" ] || { echo "PostgreSQL is missing; install the Debian package postgresql" >&2; exit 1; }
# The user `postgres` may not be let into the folder, but everybody is into the temporary one.
data=$(cat "$folder/where" 2>/dev/null || true)

case $act in
start)
  mkdir -p "$folder"
  if [ -z "$data" ] || [ ! -f "$folder/port" ] || ! as_server "'$control' -D '$data' status" >/dev/null 2>&1; then
    data=$(mktemp -d)
    echo "$data" >"$folder/where"
    if [ "$(id -u)" = 0 ]; then chown postgres "$data"; fi
    port=$(python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')
    as_server "'$initdb' -D '$data' -U matins -A trust -E UTF8 --locale=C" >"$folder/initdb.log"
    as_server "'$control' -D '$data' -l '$data/log' -w start -o '-p $port -c listen_addresses=127.0.0.1 -c unix_socket_directories= -c max_connections=400 -c shared_buffers=64MB'" >&2
    echo "$port" >"$folder/port"
  fi
  echo "postgres://matins@127.0.0.1:$(cat "$folder/port")"
  ;;
stop)
  [ -n "$data" ] || exit 0
  as_server "'$control' -D '$data' -m immediate stop" >/dev/null 2>&1 || true
  rm -rf "$data" "$folder/port" "$folder/where"
  ;;
*)
  echo "start or stop, not $act" >&2
  exit 2
  ;;
esac
