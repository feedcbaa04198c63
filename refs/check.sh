#!/bin/sh
# check.sh BUILDER WORK [TYPE/NAME...]: make the starter collection again in WORK and compare it with what is shipped: the same
# bytes, or, on another machine or build, the same structure and numbers to six digits.
set -eu
builder=$1 work=$2
shift 2
refs=$(cd "$(dirname "$0")" && pwd)
rm -rf "$work"
mkdir -p "$work"
"$builder" "$refs" "$work" "$@"
exec /usr/bin/python3 "$refs/check.py" "$refs" "$work" "$@"
