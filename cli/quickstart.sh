#!/bin/sh
# From a clean checkout on Debian 12 to a first verdict: installs what is missing, builds, learns a known-good from
# modelled captures of six healthy vans, and compares two more with it. Run it as root or with sudo at hand.
set -eu

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
cd "$root"
. cli/packages.sh
# shellcheck disable=SC2086
install_packages $packages_build

build=build/release
log=$build/quickstart.log
mkdir -p "$build"
echo "Building in $build ..."
{
  # A folder that was configured with another generator keeps it.
  generator=
  [ -f "$build/CMakeCache.txt" ] || generator=Ninja
  cmake -S . -B "$build" ${generator:+-G "$generator"} -DCMAKE_BUILD_TYPE=Release -DPLB_TESTS=OFF &&
    cmake --build "$build" --target plumb make-demo --parallel
} >"$log" 2>&1 || {
  tail -n 30 "$log" >&2
  echo "plumb: $log: the build failed; its last lines are above" >&2
  exit 70
}

plumb=$build/bin/plumb
demo=$build/demo
mkdir -p "$demo"
"$build/bin/make-demo" "$demo"

echo
echo "Learning a known-good from six healthy vans (modelled, not measured):"
echo
"$plumb" learn --provenance modelled --type crank-inductive --name demo/2.0-petrol \
  --title "2.0 litre petrol, four cylinders, 60-2 wheel, warm idle" \
  --cycle wheel:teeth=60,missing=2 --channel crank=2:V --condition state=hot-idle \
  --group van-1 "$demo/van-1.csv" --group van-2 "$demo/van-2.csv" --group van-3 "$demo/van-3.csv" \
  --group van-4 "$demo/van-4.csv" --group van-5 "$demo/van-5.csv" --group van-6 "$demo/van-6.csv" \
  -o "$demo/known-good.xml"

# compare_van NAME EXPECTED: its exit status is the verdict, so it must be the expected one.
compare_van() {
  echo
  echo "\$ plumb compare $1.csv --reference known-good.xml --svg $1.svg"
  echo
  status=0
  "$plumb" compare "$demo/$1.csv" --reference "$demo/known-good.xml" --condition state=hot-idle \
    --svg "$demo/$1.svg" || status=$?
  if [ "$status" -ne "$2" ]; then
    echo "plumb: $demo/$1.csv: exit status $status where $2 was expected; tell the maintainers" >&2
    exit 70
  fi
}
compare_van van-7 0
compare_van van-8 1

cat <<END

The picture of the faulty one:  $root/$demo/van-8.svg   (any web browser shows it)
The command:                    $root/$plumb
All captures here are modelled; $demo/README.txt says what each is.
Next: make a known-good from your own captures; "$plumb learn --help" tells how.
END
