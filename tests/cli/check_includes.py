"""The command uses the public headers, its own, and the system's; never a private one."""
import pathlib
import re
import sys

folder = pathlib.Path(sys.argv[1])
own = {path.name for path in folder.glob("*.h")}
problems = []
count = 0
for path in sorted(folder.glob("*.[ch]")):
    for kind, name in re.findall(r'^\s*#\s*include\s*(["<])([^">]+)', path.read_text(), re.M):
        count += 1
        if (kind == '"' and name not in own) or (kind == "<" and "/" in name and not re.match(r"plumbline/|sys/", name)):
            problems.append(f"{path.name} includes {name}")
print("\n".join(problems) or f"{count} includes")
sys.exit(1 if problems or not count else 0)
