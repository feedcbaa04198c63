#!/bin/sh
# The evaluation's other ways: folders of files, captures in sessions, and a run that was stopped and is taken up again.
#   check_modes.sh EVALUATE DRAW-MODEL
set -eu
evaluate=$1
draw=$2
box=$(mktemp -d)
trap 'rm -rf "$box"' EXIT INT TERM

fail() {
  echo "failed: $*" >&2
  exit 1
}

# A folder: nine good captures, learned from six of them, and two of one fault; a small family (a single event, 80 kB).
mkdir "$box/plugs"
for i in 1 2 3 4 5 6 7 8 9; do
  "$draw" glow-plug-current "90$i" >"$box/plugs/good-$i.csv"
done
for i in 1 2; do
  "$draw" glow-plug-current "95$i" short-time 1 >"$box/plugs/fault-short-time-$i.csv"
done
"$evaluate" --redraws 2 --n 6 --faults "$box/plugs" >"$box/out" || fail "a folder: $(cat "$box/out")"
grep -Eq '^plugs +6 +14\.3% +[01]/6 ' "$box/out" || fail "six of the nine good captures are to be learned from, the others judged: $(cat "$box/out")"
grep -Eq 'short-time .*4 of 4 +found' "$box/out" || fail "both files of the fault, twice: $(cat "$box/out")"

status=0
"$evaluate" --redraws 1 --n 6 "$box/none" >"$box/out" 2>"$box/err" || status=$?
[ "$status" = 66 ] || fail "a folder that is not there: exit $status"

# Sessions: 8 exemplars are two recordings of four each, so that no more than 1 in 3 can be promised.
"$evaluate" --sessions --family charging-voltage --redraws 1 --n 8 --fresh 2 --full-only >"$box/out" || true
grep -q 'in sessions of one vehicle' "$box/out" || fail "sessions: $(cat "$box/out")"
grep -Eq '^charging-voltage +8 +33\.3%' "$box/out" || fail "two vehicles promise one in three: $(cat "$box/out")"

# A run that is stopped in the middle of writing counts the same in the end.
run() { "$evaluate" --family charging-voltage --family glow-plug-current --n 6 --fresh 2 --full-only "$@" >"$box/out" || [ $? = 1 ]; }
run --redraws 2 --into "$box/whole"
run --redraws 1 --into "$box/parts"
cut=$(($(wc -c <"$box/parts") - 25))
head -c "$cut" "$box/parts" >"$box/cut" # the last "done" is lost
run --redraws 2 --into "$box/cut"
counts() { run --redraws 2 --into "$1" --table; sed -E 's/ +[0-9.]+s +[0-9.]+ms$//' "$box/out"; }
counts "$box/whole" >"$box/a"
counts "$box/cut" >"$box/b"
grep -q '^charging-voltage' "$box/a" || fail "the table of the file is empty"
grep -q 'redraws stand in the file' "$box/a" && fail "redraws are missing"
cmp -s "$box/a" "$box/b" || fail "a run taken up again counts otherwise: $(diff "$box/a" "$box/b")"
[ "$(grep -c '^done' "$box/cut")" = 4 ] || fail "each redraw is to be finished once"

status=0
"$evaluate" --family charging-voltage --n 6,10 --into "$box/whole" >"$box/out" 2>"$box/err" || status=$?
[ "$status" = 65 ] || fail "a file made with other options: exit $status"
echo "folders, sessions and stopped runs are evaluated"
