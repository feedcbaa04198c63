"""No file of the project names a folder of the machine it was written on, or of its writers."""
import re
import subprocess
import sys

root = sys.argv[1]
listed = subprocess.run(["git", "-C", root, "ls-files", "-z"], capture_output=True, text=True)
if listed.returncode != 0:
    print("skipped: not a git checkout")
    sys.exit(77)
foreign = re.compile(r"(?<![\w.])/(?:home|root|work|Users)/\w")
problems = []
files = [name for name in listed.stdout.split("\0") if name]
for name in files:
    try:
        text = open(f"{root}/{name}", encoding="utf-8").read()
    except (UnicodeDecodeError, FileNotFoundError, IsADirectoryError):
        continue
    for number, line in enumerate(text.splitlines(), 1):
        if foreign.search(line):
            problems.append(f"{name}:{number}: {line.strip()[:100]}")
print("\n".join(problems) or f"{len(files)} files")
sys.exit(1 if problems or not files else 0)
