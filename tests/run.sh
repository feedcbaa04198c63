#!/bin/sh
# Installs what is missing, builds, and runs every test: optimised, and with the address and undefined-behaviour
# checkers. With --all also the tests labelled long, clang, the thread checker, valgrind, static analysis and fuzzing.
set -eu

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$root"
. cli/packages.sh

all=no
case ${1-} in
'') ;;
--all) all=yes ;;
*)
  echo "usage: sh tests/run.sh [--all]" >&2
  exit 64
  ;;
esac
# shellcheck disable=SC2086
install_packages $packages_build $packages_test
if [ "$all" = yes ]; then
  # shellcheck disable=SC2086
  install_packages $packages_all
fi

jobs=$(nproc)
step() { printf '\n== %s\n' "$*"; }

# build PRESET: the compiler's words are shown only when it fails.
build() {
  step "build $1"
  cmake --preset "$1" -DPLB_TESTS=ON >"build/$1.log" 2>&1 || {
    cat "build/$1.log" >&2
    exit 1
  }
  cmake --build --preset "$1" --parallel "$jobs" >"build/$1.log" 2>&1 || {
    grep -v '^\[' "build/$1.log" | head -n 60 >&2
    exit 1
  }
}

# build_and_test PRESET [ctest options]
build_and_test() {
  build "$1"
  step "test $1"
  preset=$1
  shift
  ctest --preset "$preset" --parallel "$jobs" "$@"
}

mkdir -p build
export ASAN_OPTIONS=detect_leaks=1:strict_string_checks=1 UBSAN_OPTIONS=print_stacktrace=1

if [ "$all" = yes ]; then
  build_and_test clang -LE long
  # gcc's OpenMP runtime is not built for the thread checker and would drown it in false alarms: one thread inside,
  # those of the test outside.
  OMP_NUM_THREADS=1 build_and_test tsan -L threads
  build dev
  step "valgrind"
  sh tests/memcheck.sh build/dev
  step "static analysis"
  sh tests/analyse.sh build/dev
  step "fuzzing, a short run"
  sh tests/fuzz/smoke.sh
fi
build_and_test asan-ubsan -LE long
if [ "$all" = yes ]; then
  build_and_test release
else
  build_and_test release -LE long
fi
