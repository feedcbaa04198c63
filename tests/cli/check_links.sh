#!/bin/sh
# The command people wait for must not pull in what takes long to start: libgit2 (14 ms) and librsvg (18 ms).
set -eu
needed=$(ldd "$1")
echo "$needed" | grep -q 'libc\.so' || { echo "ldd says nothing about $1"; exit 1; }
if echo "$needed" | grep -E 'libgit2|librsvg|libcairo|libcurl|libssl'; then
  echo "these libraries must not be linked to $1"
  exit 1
fi
