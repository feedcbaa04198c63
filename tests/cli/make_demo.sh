#!/bin/sh
# Makes the demonstration captures and a known-good of them: sh make_demo.sh BIN FOLDER
set -eu
bin=$1
demo=$2
mkdir -p "$demo"
rm -f "$demo"/*
"$bin/make-demo" "$demo"
"$bin/plumb" learn --provenance modelled --type crank-inductive --name demo/2.0-petrol \
  --cycle wheel:teeth=60,missing=2 --channel crank=2:V --condition state=hot-idle \
  --group van-1 "$demo/van-1.csv" --group van-2 "$demo/van-2.csv" --group van-3 "$demo/van-3.csv" \
  --group van-4 "$demo/van-4.csv" --group van-5 "$demo/van-5.csv" --group van-6 "$demo/van-6.csv" \
  -o "$demo/known-good.xml"
