"""Every function of the public headers is exported by the shared library and documented; nothing else is exported.

Headers named behind the library belong to another library and are only looked at for documentation.
"""
import pathlib
import re
import subprocess
import sys

include, library, *elsewhere = sys.argv[1:]
declared = {}
problems = []
for header in sorted(pathlib.Path(include, "plumbline").glob("*.h")):
    lines = header.read_text().splitlines()
    for number, line in enumerate(lines):
        if not line.startswith("PLB_API"):
            continue
        statement = line
        last = number
        while ";" not in statement:
            last += 1
            statement += " " + lines[last]
        name = re.search(r"\b(plb_\w+)\(", statement)
        if not name:
            problems.append(f"{header.name}:{number + 1}: no function here")
            continue
        if header.name not in elsewhere:
            declared[name.group(1)] = f"{header.name}:{number + 1}"
        # A comment above, behind the declaration, or above the group of declarations it belongs to.
        above = number - 1
        while above >= 0 and lines[above].startswith("PLB_API"):
            above -= 1
        if "/**<" not in lines[last] and not lines[above].rstrip().endswith("*/"):
            problems.append(f"{header.name}:{number + 1}: {name.group(1)} is not documented")
if len(declared) < 40:
    problems.append(f"only {len(declared)} functions are declared: this check reads the headers wrongly")
table = subprocess.run(["nm", "-D", "--defined-only", library], check=True, capture_output=True, text=True).stdout
exported = {row.split()[2].split("@")[0] for row in table.splitlines() if row.split()[1] in "TDBRW"}
exported = {name for name in exported if not re.match(r"\.|_init$|_fini$|__(asan|ubsan|odr_asan|tsan|gcov|sancov|start|stop)", name)}
for name in sorted(declared.keys() - exported):
    problems.append(f"{declared[name]}: {name} is not in the library")
for name in sorted(exported - declared.keys()):
    problems.append(f"{name} is exported but in no public header")
print("\n".join(problems) or f"{len(declared)} functions")
sys.exit(1 if problems else 0)
