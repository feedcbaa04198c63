#!/bin/sh
# check_valid.sh SOURCE XMLLINT: every shipped document is accepted by xmllint with our schemas.
set -eu
source=$1 xmllint=${2:-}
case $xmllint in
'' | *NOTFOUND) echo "skipped: xmllint is not installed"; exit 77 ;;
esac
cd "$source/refs/references"
count=$(find . -name '[0-9]*.xml' | wc -l)
echo "$count references"
test "$count" -ge 48
find . -name '[0-9]*.xml' -exec "$xmllint" --nonet --noout --schema "$source/schema/reference.xsd" {} + 2>&1 | grep -v ' validates$' && exit 1
find . -name status.xml -exec "$xmllint" --nonet --noout --schema "$source/schema/status.xsd" {} + 2>&1 | grep -v ' validates$' && exit 1
exit 0
