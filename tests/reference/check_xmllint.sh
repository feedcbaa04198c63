#!/bin/sh
# check_xmllint.sh WRITER SCHEMAS XMLLINT: what the library writes is accepted by xmllint; a document of the other kind is not.
set -eu
writer=$1 schemas=$2 xmllint=${3:-}
case $xmllint in
'' | *NOTFOUND) echo "skipped: xmllint is not installed"; exit 77 ;;
esac
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
"$writer" "$folder"
"$xmllint" --nonet --noout --schema "$schemas/reference.xsd" "$folder"/reference-*.xml
"$xmllint" --nonet --noout --schema "$schemas/capture.xsd" "$folder"/capture*.xml
if "$xmllint" --nonet --noout --schema "$schemas/reference.xsd" "$folder"/capture.xml 2>/dev/null; then
  echo "xmllint accepts a capture as a reference"
  exit 1
fi
# The schemas share their plain values and sample blocks word for word.
shared() { sed -n '/<!-- Shared with the other schemas/,/<!-- End of what is shared/p' "$1"; }
for schema in "$schemas"/reference.xsd "$schemas"/capture.xsd; do
  test -n "$(shared "$schema")"
  test "$(shared "$schema")" = "$(shared "$schemas/reference.xsd")"
done
