#!/bin/sh
# build.sh [BUILD] [TYPE/NAME...]: make every shipped document again (or those whose names begin so) with the builder of the build
# folder BUILD, build/release unless told otherwise.
set -eu
refs=$(cd "$(dirname "$0")" && pwd)
build=${1:-$refs/../build/release}
[ $# -eq 0 ] || shift
cmake --build "$build" --target build-references
exec "$build/bin/build-references" "$refs" "$refs" "$@"
