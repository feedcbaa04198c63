"""The command over every damaged recording: exit 65 or 66, nothing on standard output, and one message that names the file.

usage: check_bad.py PLUMB FOLDER
"""
import os
import re
import subprocess
import sys


def fault(plumb, path):
    done = subprocess.run([plumb, "inspect", path], capture_output=True, text=True, errors="replace", timeout=60)
    lines = done.stderr.splitlines()
    if done.returncode not in (65, 66):
        return "exit %d" % done.returncode
    if done.stdout:
        return "something on standard output"
    if len(lines) != 1:
        return "%d lines on standard error" % len(lines)
    if not re.match(r"plumb: " + re.escape(path) + r"(:[1-9]\d*(:[1-9]\d*)?|@\d+)?: [^;]+; .+[^.]$", lines[0]):
        return lines[0]
    return None


def main():
    plumb, folder = sys.argv[1:3]
    names = sorted(os.listdir(folder))
    if len(names) < 60:
        sys.exit("only %d damaged recordings in %s" % (len(names), folder))
    faults = [(name, fault(plumb, os.path.join(folder, name))) for name in names]
    for name, what in faults:
        if what:
            print("%s: %s" % (name, what))
    print("%d damaged recordings" % len(names))
    sys.exit(1 if any(what for _, what in faults) else 0)


main()
