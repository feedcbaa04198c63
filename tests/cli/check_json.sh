#!/bin/sh
# Every kind of line that --json prints is valid against its schema: sh check_json.sh PLUMB DEMO SOURCE WORK
set -eu
plumb=$1 demo=$2 source=$3 work=$4
rm -rf "$work"
mkdir -p "$work"
try() { "$@" || [ $? -le 3 ]; }
try "$plumb" compare "$demo/van-7.csv" --reference "$demo/known-good.xml" --json --condition state=hot-idle >"$work/agrees.json"
try "$plumb" compare "$demo/van-8.csv" --reference "$demo/known-good.xml" --json --connected >"$work/departs.json"
try "$plumb" compare "$demo/van-7.csv" --reference "$demo/known-good.xml" --json --condition state=cranking >"$work/unjudged.json"
try "$plumb" compare "$demo/van-7.csv" --json >"$work/no-reference.json"
try "$plumb" inspect "$demo/van-7.csv" --json >"$work/capture.json"
try "$plumb" measure "$demo/van-7.csv" --json >"$work/readings.json"
try "$plumb" pair "$demo/van-7.csv" "$demo/van-8.csv" --channel crank=2:V --cycle wheel:teeth=60,missing=2 --json >"$work/pair.json"
try "$plumb" peers "$demo"/van-[1-5].csv --channel crank=2:V --cycle wheel:teeth=60,missing=2 --json >"$work/peers.json"
try "$plumb" locate "$demo/van-7.csv" --channel component=2:V --json >"$work/locate.json"
for kind in pair peers locate; do
  /usr/bin/python3 "$source/tests/report/validate.py" "$source/schema/$kind-1.json" "$work/$kind.json"
done
try "$plumb" trend "$demo/van-7.csv" --reading speed --cycle wheel:teeth=60,missing=2 --channel crank=2:V --json >"$work/series.json"
/usr/bin/python3 "$source/tests/report/validate.py" "$source/schema/series-1.json" "$work/series.json"
/usr/bin/python3 -c "import random, array, sys; r = random.Random(4); sys.stdout.buffer.write(array.array('h', (round(2500 + r.gauss(0, 20) + (400 if i == 12345 else 0)) for i in range(20000))).tobytes())" >"$work/level.raw"
try "$plumb" search "$work/level.raw" --raw int16 --rate 10kHz --json >"$work/events.json"
try "$plumb" search "$demo/van-7.csv" "$demo/van-8.csv" --reference "$demo/known-good.xml" --json >>"$work/events.json"
/usr/bin/python3 "$source/tests/report/validate.py" "$source/schema/event-1.json" "$work/events.json"
try "$plumb" connect crank "$demo/van-7.csv" --json >"$work/connect.json"
/usr/bin/python3 "$source/tests/report/validate.py" "$source/schema/connect-1.json" "$work/connect.json"
/usr/bin/python3 "$source/tests/report/validate.py" "$source/schema/readings-1.json" "$work/readings.json"
/usr/bin/python3 "$source/tests/report/validate.py" "$source/schema/verdict-1.json" \
  "$work/agrees.json" "$work/departs.json" "$work/unjudged.json" "$work/no-reference.json"
/usr/bin/python3 "$source/tests/report/validate.py" "$source/schema/capture-1.json" "$work/capture.json"
