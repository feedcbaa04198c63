#!/bin/sh
# The command's ways through the library under valgrind, on a build without the compiler's checkers: sh memcheck.sh BUILD
set -eu
build=$1
work=$build/memcheck
bin=$build/bin
mkdir -p "$work"
check() {
  expected=$1
  shift
  status=0
  OMP_NUM_THREADS=1 valgrind --quiet --error-exitcode=99 --leak-check=full --show-leak-kinds=definite,indirect \
    --errors-for-leak-kinds=definite,indirect "$@" >"$work/out" || status=$?
  [ "$status" -eq "$expected" ] || { echo "exit status $status, expected $expected: $*"; exit 1; }
}
"$bin/make-demo" "$work" 12000
set -- "$work"/van-[1-4].csv
check 0 "$bin/plumb" learn --type crank-inductive --name x --cycle wheel:teeth=60,missing=2 --channel crank=2:V "$@" -o "$work/ref.xml"
check 1 "$bin/plumb" compare "$work/van-8.csv" --reference "$work/ref.xml" --svg "$work/van.svg"
check 1 "$bin/plumb" compare "$work/van-8.csv" --reference "$work/ref.xml" --json
check 3 "$bin/plumb" compare "$work/van-7.csv"
check 0 "$bin/plumb" inspect "$work/van-7.csv" --json
printf '<reference>' >"$work/bad.xml"
check 65 "$bin/plumb" compare "$work/van-7.csv" --reference "$work/bad.xml"
echo "valgrind found nothing"
