#!/bin/sh
# Static analysis of the library and the command: sh analyse.sh BUILD (with its compile_commands.json). What faults is
# shown and fails; what only suspects (paths through out-parameters that the analyser cannot see are never taken) is
# counted, and kept in BUILD/suspicions.log to be read.
set -eu
build=$1
cppcheck --quiet --error-exitcode=1 --std=c11 --enable=warning,portability --inline-suppr \
  --suppress=missingIncludeSystem --suppress=uninitvar --suppress=uninitStructMember \
  -I lib -I lib/include -D__linux__ lib cli refs/demo

tidy() {
  git ls-files 'lib/*.c' 'cli/*.c' | xargs -n 8 -P "$(nproc)" clang-tidy --quiet -p "$build" "$@"
}
# Taste, and multiplications of small numbers, are left alone.
tidy --warnings-as-errors='*' --checks='-*,bugprone-*,-bugprone-easily-swappable-parameters,-bugprone-narrowing-conversions,-bugprone-reserved-identifier,-bugprone-branch-clone,-bugprone-sizeof-expression,-bugprone-implicit-widening-of-multiplication-result,-bugprone-misplaced-widening-cast,-bugprone-not-null-terminated-result,-bugprone-integer-division' 2>/dev/null
tidy --checks='-*,clang-analyzer-core*,clang-analyzer-unix*,clang-analyzer-deadcode*' >"$build/suspicions.log" 2>/dev/null || true
echo "static analysis found no fault; $(grep -c 'warning:' "$build/suspicions.log" || true) suspicions in $build/suspicions.log"
