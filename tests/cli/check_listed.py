"""A case that no test runs shows nothing: every case file stands in CMakeLists.txt."""
import pathlib
import re
import sys

folder = pathlib.Path(sys.argv[1])
listed = set()
for command, cases in re.findall(r"^plb_cli_cases\((\S+)([^)]*)\)", (folder / "CMakeLists.txt").read_text(), re.M):
    listed |= {f"{command}/{case}" for case in cases.split()}
found = {f"{path.parent.name}/{path.stem}" for path in folder.glob("*/*.case")}
for name in sorted(found - listed):
    print(f"{name}.case is not in CMakeLists.txt")
for name in sorted(listed - found):
    print(f"{name} is in CMakeLists.txt but there is no such case")
sys.exit(1 if found != listed or not found else 0)
