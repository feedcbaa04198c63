"""SIGKILL at random moments of add, approve, fetch, relearn, import and pack: after each, check is clean, everything acknowledged is there,
and the next add succeeds. What is killed is the command and the program it runs, as when a terminal is closed. usage: test_kill.py BIN SOURCE POINTS SEED"""
import os
import random
import re
import signal
import subprocess
import sys
import time

from shop import Shop, fail, stored


RELEARNED = "crank-inductive/bench/learned"


def kill_at(shop, collection, words, delay, env=None):
    """@return what it had printed, and whether it was killed"""
    child = subprocess.Popen(words, env=dict(shop.env, **(env or {})), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                             start_new_session=True)
    try:
        out, err = child.communicate(timeout=delay)
        if child.returncode != 0:
            fail("%s ended with %d: %s" % (" ".join(words), child.returncode, err))
        return out, False
    except subprocess.TimeoutExpired:
        os.killpg(child.pid, signal.SIGKILL)
        out, _ = child.communicate()
        return out, True


def teach(shop, collection):
    """A reference with its captures in the collection, so that it can be learned again, and captures to add to it."""
    demo = shop.path("demo")
    os.mkdir(demo)
    subprocess.run([os.path.join(shop.bin, "make-demo"), demo], check=True, stdout=subprocess.DEVNULL)
    plumb = os.path.join(shop.bin, "plumb")
    kind, name = RELEARNED.split("/", 1)
    good = [os.path.join(demo, "van-%d.csv" % i) for i in range(1, 5)]
    subprocess.run([plumb, "learn", "--collection", collection, "--type", kind, "--name", name, "--cycle", "wheel:teeth=60,missing=2",
                    "--channel", "crank=2:V", *good], env=shop.env, check=True, stdout=subprocess.DEVNULL)
    return [plumb, "learn", "--collection", collection, "--channel", "crank=2:V", "--relearn", RELEARNED]


def vary(shop, number):
    """One more good capture, never the same: a demonstration capture with another number at its end."""
    text = open(shop.path("demo", "van-5.csv")).read().rstrip("\n").split("\n")
    last = text[-1].split(",")
    last[1] = "%.4f" % (float(last[1]) + 1e-4 * (1 + number % 97))
    path = shop.path("demo", "more-%d.csv" % number)
    with open(path, "w") as f:
        f.write("\n".join(text[:-1] + [",".join(last)]) + "\n")
    return path


def many_of(shop, paths, number):
    """A folder of thirty references that are new."""
    folder = shop.path("import-%d" % number)
    os.mkdir(folder)
    text = open(paths[number % 5]).read()
    for k in range(30):
        with open(os.path.join(folder, "ref-%d.xml" % k), "w") as f:
            f.write(re.sub(r'name="(type-\d+)/name-\d+"', r'name="\1/import-%d-%d"' % (number, k), text, count=1))
    return folder


def approved(shop, collection):
    return {"%s@%d" % (e["name"], e["version"]) for e in shop.entries(collection) if e["status"] == "approved"}


def main():
    bin_dir, source, points, seed = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
    rng = random.Random(seed)
    shop = Shop(bin_dir, source)
    killed = completed = 0
    try:
        paths = shop.make_references(6)
        collection, other = shop.init("ours"), shop.path("other")
        shop.must(collection, "add", paths[0])
        shop.must(collection, "send", other)
        relearn = teach(shop, collection)
        acts = {"add": 0.1, "approve": 0.1, "fetch": 0.2, "relearn": 0.3, "import": 0.2, "pack": 0.1}  # seconds each takes; followed as the machine is busy or idle
        names = list(acts)
        acknowledged, approvals = shop.selectors(collection), set()
        number = 0
        for i in range(points + len(names)):  # each is timed once, unharmed
            act = names[i % len(names)]
            number += 1
            text = open(paths[i % 5]).read().replace("Fixture number", "Fixture %d number" % number)
            new = shop.path("new.xml")
            open(new, "w").write(text)
            env, words = {}, shop.words(collection, act)
            if act == "add":
                words = shop.words(collection, "add", new)
            elif act == "approve":
                target = rng.choice(sorted(acknowledged))
                words, env = shop.words(collection, "approve", target), {"PLUMBLINE_AUTHOR": "Bob"}
            elif act == "fetch":
                shop.must(other, "add", paths[5], env={"PLUMBLINE_AUTHOR": "Cleo"})
                open(new, "w").write(open(paths[5]).read().replace("Fixture number", "Fetched %d number" % number))
                shop.must(other, "add", new, env={"PLUMBLINE_AUTHOR": "Cleo"})
                words = shop.words(collection, "fetch", other)
            elif act == "relearn":
                words = relearn + [vary(shop, number)]
            elif act == "import":
                words = shop.words(collection, "import", many_of(shop, paths, number))
            start = time.monotonic()
            delay = rng.uniform(0.001, 1.1 * acts[act]) if i >= len(names) else 60
            out, was_killed = kill_at(shop, collection, words, delay, env)
            killed += was_killed
            completed += not was_killed
            if not was_killed:
                acts[act] = (acts[act] + time.monotonic() - start) / 2 if i >= len(names) else time.monotonic() - start
                acknowledged |= stored(out)
                if act == "approve":
                    approvals.add(target)
            else:
                acts[act] = min(5.0, acts[act] * 1.02)
            what = "point %d, %s %s" % (i, act, "killed" if was_killed else "done")
            shop.check(collection, what)
            if not acknowledged <= shop.selectors(collection):
                fail("%s: lost %s" % (what, acknowledged - shop.selectors(collection)))
            if not approvals <= approved(shop, collection):
                fail("%s: lost an approval" % what)
            open(new, "w").write(text.replace("Fixture", "After"))
            acknowledged |= stored(shop.must(collection, "add", new))
        shop.must(collection, "fetch", other)
        shop.check(collection, "at the end")
        fsck = subprocess.run(["git", "--git-dir=" + collection, "fsck", "--strict", "--no-dangling"], capture_output=True, text=True)
        if fsck.returncode != 0 or fsck.stderr:
            fail("git fsck: " + fsck.stdout + fsck.stderr)
        print("%d killed, %d ended before the signal; nothing lost, every next add went in" % (killed, completed))
        if killed < points // 4 or completed == 0:
            fail("too few were killed")
    finally:
        shop.close()


main()
