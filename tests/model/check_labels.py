"""Each drawn value of a model must say how it is known: on its line, or in a comment at most NEAR lines above it.

Reads the sources of the models; prints file and line of every value that says nothing.
"""
import pathlib
import re
import sys

NEAR = 4
DRAWN = re.compile(r"plb_(part|between)\(draw, -?[0-9]")
# when things begin, where a shaft stands: chance, not knowledge
CHANCE = re.compile(r"(begin_s|start_s|at_s|on_s|off_s|open_s|phase|theta|turns?|start) ?=|plb_between\(draw, 0(\.\d+)?,")
LABEL = re.compile(r"common practice|from memory|FROM MEMORY|VERIFIED|COMPUTED|data sheet|\bISO\b|\bSAE\b|a set length|a hand or a foot")


def unlabelled(path):
    lines = path.read_text(encoding="utf-8").splitlines()
    for number, line in enumerate(lines):
        if DRAWN.search(line) and not CHANCE.search(line):
            if not LABEL.search("\n".join(lines[max(0, number - NEAR) : number + 1])):
                yield f"{path.name}:{number + 1}: {line.strip()}"


def main(folder):
    files = sorted(pathlib.Path(folder).glob("*.c"))
    if len(files) < 20:
        sys.exit(f"{folder}: only {len(files)} sources of models; name lib/model")
    found = [line for path in files for line in unlabelled(path)]
    print("\n".join(found) or "every drawn value says how it is known")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
