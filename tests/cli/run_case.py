"""Runs one case of the command and compares exit status, standard output, standard error and the files left behind.

A case is a text file of lines "key: value":
  why    what the case shows (for people)
  given  a shell line that prepares the empty folder the case runs in; may be repeated
  run    the shell line under test; `plumb` is the built command; repeated lines are one script
  exit   the exit status
  out    a line of standard output; * stands for anything within the line, a lone ... for any lines
  err    the same for standard error
  left   a file that the run must have made (anything else that appears or vanishes is a failure)
Without an out (err) line, standard output (error) must be empty. $DEMO is the folder of demonstration captures with
known-good.xml, $SOURCE the source tree, $BIN the folder of the built programs. HOME is an empty folder.
"""
import os
import re
import subprocess
import sys
import tempfile

KEYS = ("why", "given", "run", "exit", "out", "err", "left")


def read_case(path):
    case = {key: [] for key in KEYS}
    with open(path, encoding="utf-8") as lines:
        for number, line in enumerate(lines, 1):
            line = line.rstrip("\n")
            if not line or line.startswith("#"):
                continue
            key, colon, value = line.partition(":")
            if not colon or key not in case:
                sys.exit(f"{path}:{number}: a line starts with one of {', '.join(KEYS)} and a colon")
            case[key].append(value[1:] if value.startswith(" ") else value)
    if not case["why"] or not case["run"] or len(case["exit"]) != 1:
        sys.exit(f"{path}: a case needs why, run and one exit")
    return case


def pattern(lines):
    parts = []
    for line in lines:
        if line == "...":
            parts.append(r"(?:[^\n]*\n)*?")
        else:
            parts.append(r"[^\n]*".join(re.escape(piece) for piece in line.split("*")) + r"\n")
    return re.compile("".join(parts))


def listing(folder):
    return {os.path.relpath(os.path.join(top, name), folder)
            for top, _, names in os.walk(folder) for name in names}


def run_case(case, binaries, demo, source):
    problems = []
    with tempfile.TemporaryDirectory() as top:
        folder, home = os.path.join(top, "here"), os.path.join(top, "home")
        os.mkdir(folder)
        os.mkdir(home)
        environment = dict(os.environ, PATH=binaries + os.pathsep + os.environ["PATH"], HOME=home, LC_ALL="C",
                           DEMO=demo, SOURCE=source, BIN=binaries, TERM="dumb", COLUMNS="100")
        for name in ("SOURCE_DATE_EPOCH", "PLUMBLINE_DATA", "NO_COLOR"):
            environment.pop(name, None)

        def shell(lines):
            return subprocess.run(["sh", "-c", "\n".join(lines)], cwd=folder, env=environment, text=True,
                                  stdin=subprocess.DEVNULL, capture_output=True, timeout=240)

        prepared = shell(["set -eu"] + case["given"])
        if prepared.returncode != 0:
            return [f"the preparation failed: {prepared.stderr}"]
        before = listing(top)
        done = shell(case["run"])
        after = listing(top)
        if str(done.returncode) != case["exit"][0]:
            problems.append(f"exit status {done.returncode}, expected {case['exit'][0]}")
        for name, text, lines in (("standard output", done.stdout, case["out"]), ("standard error", done.stderr, case["err"])):
            if not pattern(lines).fullmatch(text):
                problems.append(f"{name} differs; expected:\n" + "\n".join(lines))
        expected = before | {os.path.join("here", name) for name in case["left"]}
        if after != expected:
            problems.append(f"files appeared: {sorted(after - expected)}; files missing: {sorted(expected - after)}")
        if problems:
            problems += [f"standard output was:\n{done.stdout}", f"standard error was:\n{done.stderr}"]
    return problems


def main():
    path, binaries, demo, source = sys.argv[1:]
    problems = run_case(read_case(path), os.path.abspath(binaries), os.path.abspath(demo), os.path.abspath(source))
    for problem in problems:
        print(f"{path}: {problem}")
    sys.exit(1 if problems else 0)


main()
