"""README.md names every command and option that the program has, and none that it has not."""
import re
import subprocess
import sys

plumb, readme = sys.argv[1:]


def help_of(*words):
    return subprocess.run([plumb, *words], check=True, capture_output=True, text=True).stdout


overview = help_of("--help")
commands = re.findall(r"^  ([a-z]+) ", overview.split("commands:")[1], re.M)
text = open(readme, encoding="utf-8").read()
problems = []
known = {"--help", "--version", "--all"}
for command in commands:
    if f"`plumb {command}" not in text:
        problems.append(f"README.md does not name the command {command}")
    if command == "help":
        continue
    section = re.search(rf"^### `plumb {command}.*?(?=^##|\Z)", text, re.M | re.S)
    if not section:
        problems.append(f"README.md has no section about {command}")
        continue
    options = re.findall(r"^  (?:-\w, )?(--[a-z-]+)", help_of(command, "--help").split("\noptions:")[1], re.M)
    known |= set(options)
    for option in options:
        if option != "--help" and not re.search(rf"{option}(?![a-z-])", section.group()):
            problems.append(f"README.md does not name {option} of {command}")
ours = "\n".join(re.findall(r"`plumb [^`]*`|^.*\bplumb [a-z]+ .*$|^\| `--.*$", text, re.M))
for option in sorted(set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", ours)) - known):
    problems.append(f"README.md names {option}, which no command has")
print("\n".join(problems) or f"{len(commands)} commands, {len(known)} options")
sys.exit(1 if problems or len(commands) < 3 else 0)
