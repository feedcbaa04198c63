"""plumb watch with a pipe and with a terminal: python3 check_watch.py PLUMB SOURCE

Events are told while samples still come; keys mark the moment; the terminal is left as it was, also by an interrupt;
every line is valid. The samples are modelled: 2.5 V with noise of 20 mV, 10 kS/s, and a dropout of 20 samples.
"""
import fcntl
import json
import os
import random
import select
import subprocess
import sys
import termios
import time
from array import array

plumb, source = sys.argv[1:]
RATE, AT, LENGTH = 10000, 12000, 20
WORDS = [plumb, "watch", "-", "--raw", "int16", "--rate", "10kHz", "--raw-scale", "0.001", "--channel", "supply=1:V"]
noise = random.Random(7)


def samples(first, last):
    return array("h", (round(2500 - (900 if AT <= i < AT + LENGTH else 0) + noise.gauss(0, 20))
                       for i in range(first, last))).tobytes()


def need(holds, what):
    if not holds:
        sys.exit(f"failed: {what}")


class Lines:
    """Lines of a descriptor as they come."""

    def __init__(self, fd):
        self.fd, self.rest, self.all = fd, b"", []

    def wait(self, holds, seconds=20):
        end = time.monotonic() + seconds
        while not holds(self.all) and time.monotonic() < end:
            if select.select([self.fd], [], [], 0.1)[0]:
                piece = os.read(self.fd, 65536)
                if not piece:
                    break
                *whole, self.rest = (self.rest + piece).split(b"\n")
                self.all += [json.loads(line) for line in whole]
        return holds(self.all)


def kinds(lines):
    return [line.get("kind") or line.get("what") or line["format"] for line in lines]


def validate(lines, folder="schema"):
    try:
        import jsonschema
    except ImportError:
        return
    for line in lines:
        name = line["format"].removeprefix("plumbline.").replace("/", "-").replace("events", "event")
        with open(os.path.join(source, folder, name + ".json"), encoding="utf-8") as file:
            jsonschema.Draft202012Validator(json.load(file)).validate(line)


def with_a_pipe():
    process = subprocess.Popen(WORDS, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0, start_new_session=True)
    out = Lines(process.stdout.fileno())
    process.stdin.write(samples(0, AT + 3000))
    need(out.wait(lambda all: "dropout" in kinds(all)), "the dropout is told while samples still come")
    process.stdin.close()
    need(out.wait(lambda all: kinds(all)[-1:] == ["plumbline.events/1"]), "the last line sums up")
    need(process.wait(20) == 0, "exit status 0")
    event = out.all[0]
    need(kinds(out.all) == ["dropout", "plumbline.events/1"], f"one event and the sum, not {kinds(out.all)}")
    need(abs(event["time_s"] - AT / RATE) < 1.5 / RATE and abs(event["duration_s"] - LENGTH / RATE) < 3 / RATE
         and abs(event["size"] + 0.9) < 0.03 and event["unit"] == "V" and event["channel"] == "supply",
         f"time, length and size of the dropout: {event}")
    need(out.all[-1]["capture"]["samples"] == AT + 3000, "every sample was read")
    validate(out.all)


def at_a_terminal(last_key, bell):
    terminal, line = os.openpty()

    def take_terminal():
        os.setsid()
        fcntl.ioctl(line, termios.TIOCSCTTY, 0)

    before = termios.tcgetattr(line)
    process = subprocess.Popen(WORDS + ["--bell"] * bell, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0,
                               preexec_fn=take_terminal, pass_fds=(line,))
    out = Lines(process.stdout.fileno())
    end = time.monotonic() + 20
    while termios.tcgetattr(line)[3] & termios.ICANON and time.monotonic() < end:
        time.sleep(0.01)
    need(not termios.tcgetattr(line)[3] & (termios.ICANON | termios.ECHO), "keys are read one by one and not shown")
    process.stdin.write(samples(0, AT + 3000))
    need(out.wait(lambda all: "dropout" in kinds(all)), "the dropout is told at a terminal too")
    for key, what in ((b"w", "wiggle"), (b"x", None), (b"h", "heat"), (b"c", "cold")):
        os.write(terminal, key)
        need(what is None or out.wait(lambda all: kinds(all)[-1] == what), f"the key {key} marks the moment: {what}")
    process.stdin.write(samples(AT + 3000, AT + 6000))
    os.write(terminal, last_key)
    need(out.wait(lambda all: kinds(all)[-1] == "plumbline.events/1"), f"{last_key} ends it with the sum")
    need(process.wait(20) == 0, "exit status 0")
    need(termios.tcgetattr(line) == before, "the terminal is left as it was")
    marks = [one for one in out.all if one["format"] == "plumbline.mark/1"]
    need(len(marks) == 3 and all(abs(one["time_s"] - (AT + 3000) / RATE) < 1e-9 for one in marks), f"the marks: {marks}")
    shown = os.read(terminal, 1000) if select.select([terminal], [], [], 0)[0] else b""
    need(shown.count(b"\a") == (1 if bell else 0), f"one bell for one event, none unasked: {shown}")
    process.stdin.close()
    validate(out.all)


def cycles():
    wave = array("h", ([0] * 50 + [5000] * 50) * 60).tobytes()
    out = subprocess.run(WORDS + ["--cycles"], input=wave, capture_output=True, check=True, start_new_session=True).stdout
    lines = [json.loads(line) for line in out.splitlines()]
    told = [line for line in lines if line["format"] == "plumbline.cycle/1"]
    need(len(told) >= 57 and all(abs(one["period_s"] - 0.01) < 1e-6 and abs(one["high_s"] - 0.005) < 1e-6 and
                                 one["highest"] == 5 and one["lowest"] == 0 for one in told), f"{len(told)} cycles")
    need(all(abs(b["time_s"] - a["time_s"] - 0.01) < 1e-6 for a, b in zip(told, told[1:])), "each cycle once")
    validate(lines)


with_a_pipe()
cycles()
at_a_terminal(b"q", True)
at_a_terminal(b"\x03", False)
print("pipe, cycles, keys, bell, interrupt")
