"""One bit flipped anywhere in a collection: check finds it and names what is lost, or it changes no content (then it is counted); other
references stay usable. Loose objects and packs. usage: test_flips.py BIN SOURCE FLIPS SEED"""
import os
import random
import shutil
import subprocess
import sys

from shop import Shop, fail


def content(collection):
    """Everything git can read, by a program that is not ours; None when it cannot."""
    env = dict(os.environ, GIT_CONFIG_GLOBAL="/dev/null", GIT_CONFIG_SYSTEM="/dev/null")
    r = subprocess.run(["git", "--git-dir=" + collection, "rev-list", "--objects", "main"], capture_output=True, env=env)
    if r.returncode != 0 or r.stderr:
        return None
    ids = b"\n".join(sorted({line.split()[0] for line in r.stdout.splitlines()}))
    b = subprocess.run(["git", "--git-dir=" + collection, "cat-file", "--batch"], input=ids, capture_output=True, env=env)
    return r.stdout + b.stdout if b.returncode == 0 and not b.stderr else None


def files(collection):
    out = []
    for top, _, names in os.walk(collection):
        out += [os.path.join(top, n) for n in names if n not in ("description", "plumbline.lock") and "private.git" not in top]
    return sorted(p for p in out if os.path.getsize(p) > 0)


def main():
    shop = Shop(sys.argv[1], sys.argv[2])
    flips, rng = int(sys.argv[3]), random.Random(int(sys.argv[4]))
    try:
        paths = shop.make_references(3)
        loose = shop.init("loose")
        for p in paths:
            shop.must(loose, "add", p)
        packed = shop.path("packed")
        shutil.copytree(loose, packed)
        shop.must(packed, "pack")
        found = harmless = named = 0
        for i in range(flips):
            base = (loose, packed)[i % 2]
            whole = content(base)
            work = shop.path("work")
            shutil.rmtree(work, ignore_errors=True)
            shutil.copytree(base, work)
            path = rng.choice(files(work))
            data = bytearray(open(path, "rb").read())
            at, bit = rng.randrange(len(data)), rng.randrange(8)
            data[at] ^= 1 << bit
            os.chmod(path, 0o644)
            open(path, "wb").write(data)
            r = shop.run(work, "check")
            what = "%s byte %d bit %d" % (os.path.relpath(path, work), at, bit)
            if r.returncode == 65 and "damaged: " in r.stdout:
                found += 1
                named += "lost with it: " in r.stdout
            elif r.returncode in (65, 66, 74) and r.stderr.startswith("plumb: "):
                found += 1
            elif r.returncode == 0 and (os.path.basename(path) == "plumbline.index" or content(work) == whole):
                harmless += 1
                if os.path.basename(path) == "plumbline.index" and os.environ.get("VERBOSE"):
                    print("harmless:", what)
            else:
                fail("%s: not found (exit %d)\n%s%s" % (what, r.returncode, r.stdout, r.stderr))
            usable = 0
            for k in range(3):
                usable += shop.run(work, "show", "type-%02d/name-%05d" % (k, k), "--xml").stdout == shop.run(
                    base, "show", "type-%02d/name-%05d" % (k, k), "--xml").stdout
            if usable < 2 and "objects" in path:
                fail("%s: only %d of 3 references usable" % (what, usable))
        print("%d flips: %d found (%d name a lost document), %d change nothing" % (flips, found, named, harmless))
    finally:
        shop.close()


main()
