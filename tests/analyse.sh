#!/bin/sh
# Static analysis of the library and the command: sh analyse.sh BUILD (with its compile_commands.json)
set -eu
build=$1
cppcheck --quiet --error-exitcode=1 --std=c11 --enable=warning,portability --inline-suppr --inconclusive \
  --suppress=missingIncludeSystem --suppress='*:/usr/include/*' -I lib -I lib/include -D__linux__ lib cli
# A subset that finds faults, not taste.
git ls-files 'lib/*.c' 'cli/*.c' | xargs -n 8 -P "$(nproc)" clang-tidy --quiet -p "$build" --warnings-as-errors='*' \
  --checks='-*,bugprone-*,-bugprone-easily-swappable-parameters,-bugprone-narrowing-conversions,-bugprone-reserved-identifier,-bugprone-branch-clone,-bugprone-sizeof-expression,clang-analyzer-core*,clang-analyzer-unix*,clang-analyzer-deadcode*'
echo "static analysis found nothing"
