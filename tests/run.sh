#!/bin/sh
# Installs what is missing, builds, and runs every test: optimised, and with the address and undefined-behaviour
# checkers. With --all also clang, the thread checker, valgrind, static analysis and a short fuzzing run.
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

# build_and_test PRESET [ctest options]
build_and_test() {
  preset=$1
  shift
  step "build $preset"
  cmake --preset "$preset" -DPLB_TESTS=ON >"build/$preset.log" 2>&1 || {
    cat "build/$preset.log" >&2
    exit 1
  }
  cmake --build --preset "$preset" --parallel "$jobs" >"build/$preset.log" 2>&1 || {
    grep -v '^\[' "build/$preset.log" | head -n 60 >&2
    exit 1
  }
  step "test $preset"
  ctest --preset "$preset" --parallel "$jobs" "$@"
}

mkdir -p build
export ASAN_OPTIONS=detect_leaks=1:strict_string_checks=1 UBSAN_OPTIONS=print_stacktrace=1

if [ "$all" = yes ]; then
  build_and_test clang
  # The OpenMP runtime of gcc is not built for the thread checker: one thread inside, ours (tests) outside.
  OMP_NUM_THREADS=1 build_and_test tsan -L threads
  step "valgrind"
  cmake --build --preset dev --parallel "$jobs" >build/dev.log 2>&1 || cmake --preset dev >build/dev.log 2>&1
  sh tests/memcheck.sh build/dev
  step "static analysis"
  sh tests/analyse.sh build/dev
  step "fuzzing, a short run"
  sh tests/fuzz/smoke.sh
fi
build_and_test asan-ubsan
build_and_test release
