"""SIGKILL at random moments of add, approve, fetch and pack: after each, check is clean, everything acknowledged is there, and the next
add succeeds. usage: test_kill.py BIN SOURCE POINTS SEED"""
import random
import shutil
import subprocess
import sys
import time

from shop import Shop, fail, stored


def kill_at(shop, collection, words, delay, env=None):
    """@return what it had printed, and whether it was killed"""
    child = subprocess.Popen(shop.words(collection, *words), env=dict(shop.env, **(env or {})), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                             text=True)
    try:
        out, _ = child.communicate(timeout=delay)
        return out, False, child.returncode
    except subprocess.TimeoutExpired:
        child.kill()
        out, _ = child.communicate()
        return out, True, child.returncode


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
        acts = {"add": 0.1, "approve": 0.1, "fetch": 0.2, "pack": 0.1}  # seconds each takes; followed as the machine is busy or idle
        names = list(acts)
        acknowledged, approvals = shop.selectors(collection), set()
        number = 0
        for i in range(points + len(names)):  # each is timed once, unharmed
            act = names[i % len(names)]
            number += 1
            text = open(paths[i % 5]).read().replace("Fixture number", "Fixture %d number" % number)
            new = shop.path("new.xml")
            open(new, "w").write(text)
            env, words = {}, [act]
            if act == "add":
                words = ["add", new]
            elif act == "approve":
                target = rng.choice(sorted(acknowledged))
                words, env = ["approve", target], {"PLUMBLINE_AUTHOR": "Bob"}
            elif act == "fetch":
                shop.must(other, "add", paths[5], env={"PLUMBLINE_AUTHOR": "Cleo"})
                open(new, "w").write(open(paths[5]).read().replace("Fixture number", "Fetched %d number" % number))
                shop.must(other, "add", new, env={"PLUMBLINE_AUTHOR": "Cleo"})
                words = ["fetch", other]
            start = time.monotonic()
            delay = rng.uniform(0.001, 1.1 * acts[act]) if i >= len(names) else 60
            out, was_killed, status = kill_at(shop, collection, words, delay, env)
            killed += was_killed
            completed += not was_killed
            if not was_killed and status != 0:
                fail("%s ended with %d" % (act, status))
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
