#!/bin/sh
# A short run of each fuzzer; real runs take hours and are started by hand.
set -eu
seconds=${1:-30}
cmake --preset fuzz -DPLB_TESTS=ON >build/fuzz.log 2>&1 || { cat build/fuzz.log; exit 1; }
cmake --build --preset fuzz --target fuzz_capture fuzz_cycle fuzz_reference fuzz_document plumb make-demo --parallel "$(nproc)" >build/fuzz.log 2>&1 || {
  grep -v '^\[' build/fuzz.log
  exit 1
}
work=build/fuzz/run
mkdir -p "$work/capture" "$work/cycle" "$work/reference" "$work/document"
sh tests/cli/make_demo.sh build/fuzz/bin "$work/demo" >/dev/null
cp "$work/demo/known-good.xml" "$work/reference/"
for target in capture cycle reference document; do
  seeds=
  [ ! -d "tests/fuzz/corpora/$target" ] || seeds=tests/fuzz/corpora/$target
  # shellcheck disable=SC2086
  build/fuzz/bin/fuzz_$target -max_total_time="$seconds" -rss_limit_mb=2048 -timeout=20 -verbosity=0 \
    -artifact_prefix="$work/$target-" "$work/$target" $seeds >"$work/$target.log" 2>&1 || {
    tail -n 40 "$work/$target.log"
    exit 1
  }
  echo "fuzz_$target: nothing in $seconds s"
done
