#!/bin/sh
# Each public header compiles by itself, first in its file, with every warning an error: sh check_headers.sh c|c++ INCLUDE
set -eu
language=$1
include=$2
case $language in
c) standards="c11 c17" compiler=${CC:-cc} more="-Wstrict-prototypes -Wmissing-prototypes -Wvla" ;;
*) standards="c++11 c++17" compiler=${CXX:-c++} more="-Wold-style-cast -Wzero-as-null-pointer-constant" ;;
esac
command -v "$compiler" >/dev/null || { echo "skipped: there is no $compiler"; exit 77; }
count=0
for header in "$include"/plumbline/*.h; do
  name=plumbline/${header##*/}
  for standard in $standards; do
    # Twice: the guard must hold.
    # shellcheck disable=SC2086
    printf '#include <%s>\n#include <%s>\nint main(%s) { return 0; }\n' "$name" "$name" "$([ "$language" = c ] && echo void)" |
      "$compiler" -x "$language" -std="$standard" -fsyntax-only -pedantic-errors -Wall -Wextra -Wshadow -Wconversion \
        -Wundef -Werror $more -I "$include" -
    count=$((count + 1))
  done
done
[ "$count" -ge 10 ] || { echo "only $count compilations"; exit 1; }
echo "$count compilations"
