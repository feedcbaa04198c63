#!/bin/sh
# Installs a build and consumes it as others would: by the CMake package (shared and static) and by pkg-config.
# sh check_install.sh CMAKE BUILD SOURCE WORK CC SANITIZERS
set -eu
cmake=$1 build=$2 source=$3 work=$4 compiler=$5 sanitize=${6-}
flags=${sanitize:+-fsanitize=$sanitize}

rm -rf "$work"
mkdir -p "$work"
# A relative prefix in DESTDIR would hide absolute paths; moving the tree afterwards shows them.
"$cmake" --install "$build" --prefix "$work/first" >"$work/install.log"
mv "$work/first" "$work/prefix"

"$cmake" -S "$source/project" -B "$work/build" -DCMAKE_PREFIX_PATH="$work/prefix" -DCMAKE_C_COMPILER="$compiler" \
  -DCMAKE_C_FLAGS="$flags" >"$work/configure.log" || { cat "$work/configure.log"; exit 1; }
"$cmake" --build "$work/build" >"$work/build.log" || { cat "$work/build.log"; exit 1; }
"$work/build/user-shared"
"$work/build/user-static"

pc=$(dirname "$(find "$work/prefix" -name plumbline.pc)")
export PKG_CONFIG_PATH="$pc"
# shellcheck disable=SC2046,SC2086
"$compiler" -std=c17 $flags "$source/project/user.c" -o "$work/user-pc" $(pkg-config --cflags --libs plumbline)
LD_LIBRARY_PATH=$(pkg-config --variable=libdir plumbline) "$work/user-pc"

# The installed command finds its data beside itself, and says the version of the package.
[ "$("$work/prefix/bin/plumb" --version)" = "plumb $(pkg-config --modversion plumbline)" ]
[ -f "$work/prefix/share/plumbline/schema/reference.xsd" ]
programs=$(find "$work/prefix" -name plumb)
[ "$programs" = "$work/prefix/bin/plumb" ] || { echo "more than one file is called plumb: $programs"; exit 1; }
