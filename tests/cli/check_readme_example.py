"""Runs the worked example of README.md: in each ```console block, lines after "$ " are run in one folder and what
follows must be what is printed. Three dots stand for anything within a line, and alone for any lines; "# exit N" after a
command says how it ends."""
import os
import re
import subprocess
import sys
import tempfile

binaries, readme = os.path.abspath(sys.argv[1]), sys.argv[2]
blocks = re.findall(r"^```console\n(.*?)^```", open(readme, encoding="utf-8").read(), re.M | re.S)
steps = []
for line in "".join(blocks).splitlines():
    if line.startswith("$ "):
        command, _, status = line[2:].partition("   # exit ")
        steps.append([command, int(status or 0), []])
    elif steps[-1][0].endswith("\\"):
        command, _, status = line.partition("   # exit ")
        steps[-1][0] += "\n" + command
        steps[-1][1] = int(status or 0)
    else:
        steps[-1][2].append(line)
if not steps:
    sys.exit("README.md has no example")
failed = 0
with tempfile.TemporaryDirectory() as folder:
    environment = dict(os.environ, PATH=binaries + os.pathsep + os.environ["PATH"], COLUMNS="80")
    for command, status, lines in steps:
        done = subprocess.run(["sh", "-c", command], cwd=folder, env=environment, capture_output=True, text=True,
                              timeout=240)
        wanted = "".join(r"(?:[^\n]*\n)*?" if line == "..." else
                         r"[^\n]*".join(re.escape(part) for part in line.split("...")) + r"[ ]*\n" for line in lines)
        if done.returncode != status or not re.fullmatch(wanted, done.stdout) or done.stderr:
            failed += 1
            print(f"$ {command}\nexit status {done.returncode}, README.md says {status}\n{done.stderr}"
                  f"--- printed\n{done.stdout}--- README.md\n" + "\n".join(lines))
print(f"{len(steps)} commands run, {failed} differ")
sys.exit(1 if failed else 0)
