"""Whole processes on one collection of many references, beside git on the same repository where that is the same work.
usage: bench_collection.py BIN SOURCE COUNT [EXEMPLARS]   (10000 and 20: documents of about 60 kB)"""
import os
import re
import statistics
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "faults"))
from shop import Shop, fail  # noqa: E402

TYPES = 40
VERSIONS = 50


def ms(words, env, times=15):
    """Median and smallest wall time of a whole process."""
    took = []
    for _ in range(times):
        start = time.perf_counter()
        r = subprocess.run(words, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        took.append(1000 * (time.perf_counter() - start))
        if r.returncode != 0:
            fail("%s: %s" % (" ".join(words), r.stderr.decode()))
    return statistics.median(took), min(took)


def fill(shop, count, exemplars):
    """A few whole references, and the others from them under other names and titles."""
    folder = shop.path("many")
    os.mkdir(folder)
    seeds = [open(p).read() for p in shop.make_references(20, types=TYPES, exemplars=exemplars)]
    for i in range(count):
        text = seeds[i % len(seeds)]
        text = re.sub(r'type="type-\d+"', 'type="type-%02d"' % (i % TYPES), text, count=1)
        text = re.sub(r'name="type-\d+/name-\d+"', 'name="type-%02d/name-%05d"' % (i % TYPES, i), text, count=1)
        text = text.replace("Fixture number", "Fixture %d number" % i)
        with open(os.path.join(folder, "ref-%05d.xml" % i), "w") as f:
            f.write(text)
    return folder, sum(len(s) for s in seeds) / len(seeds)


def main():
    bin_dir, source, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
    shop = Shop(bin_dir, source)
    plumb = os.path.join(bin_dir, "plumb")
    if not os.access(plumb, os.X_OK):
        plumb = shop.store
    try:
        many, size = fill(shop, count, int(sys.argv[4]) if len(sys.argv) > 4 else 20)
        c = shop.init("ours")
        start = time.perf_counter()
        shop.must(c, "import", many)
        print("import of %d references of %.0f kB: %.1f s" % (count, size / 1000, time.perf_counter() - start))
        env = shop.env
        one = "type-%02d/name-%05d" % ((count // 2) % TYPES, count // 2)
        path = "references/%s/0001.xml" % one
        base = [plumb, "collection", "--collection", c]
        git = ["git", "--git-dir=" + c]
        for k in range(VERSIONS - 1):
            text = open(os.path.join(many, "ref-00000.xml")).read().replace("Fixture 0 number", "Version %d number" % k)
            with open(shop.path("next.xml"), "w") as f:
                f.write(text)
            shop.must(c, "add", shop.path("next.xml"))
        rows = [("empty process", ["true"], None), ("plumb --version", [plumb, "--version"], None),
                ("list", base + ["list"], git + ["ls-tree", "-r", "--name-only", "main"]),
                ("find by text", base + ["find", "Fixture", str(count // 2)], None),
                ("find by condition", base + ["list", "--condition", "speed=601..602/min"], None),
                ("show", base + ["show", one], git + ["cat-file", "blob", "main:" + path]),
                ("show --xml", base + ["show", one, "--xml"], git + ["cat-file", "blob", "main:" + path]),
                ("history", base + ["history", one], git + ["log", "--format=%an %ad %s", "main", "--", os.path.dirname(path)]),
                ("history of %d" % VERSIONS, base + ["history", "type-00/name-00000"],
                 git + ["log", "--format=%an %ad %s", "main", "--", "references/type-00/name-00000"])]
        for name, words, beside in rows:
            median, least = ms(words, env)
            text = "%-18s %7.1f ms (least %.1f)" % (name, median, least)
            if beside:
                theirs, _ = ms(beside, env, 5)
                text += "   git %s: %.1f ms, ratio %.2f" % (beside[2], theirs, median / theirs)
            print(text)
        extra = shop.make_references(15, types=TYPES, first=count, exemplars=20)
        took = []
        for p in extra:
            start = time.perf_counter()
            r = subprocess.run(base + ["add", p], env=env, capture_output=True, text=True)
            took.append(1000 * (time.perf_counter() - start))
            if r.returncode:
                fail(r.stderr)
        print("%-18s %7.1f ms (least %.1f)" % ("add one", statistics.median(took), min(took)))
        took = []
        for p in extra:
            ref = "type-%02d/name-%05d" % (int(re.search(r"ref-(\d+)", p)[1]) % TYPES, int(re.search(r"ref-(\d+)", p)[1]))
            start = time.perf_counter()
            r = subprocess.run(base + ["approve", ref], env=dict(env, PLUMBLINE_AUTHOR="Bob"), capture_output=True, text=True)
            took.append(1000 * (time.perf_counter() - start))
            if r.returncode:
                fail(r.stderr)
        print("%-18s %7.1f ms (least %.1f)" % ("approve one", statistics.median(took), min(took)))
        start = time.perf_counter()
        os.remove(os.path.join(c, "plumbline.index"))
        shop.must(c, "list")
        print("index made again   %7.1f s" % (time.perf_counter() - start))
        start = time.perf_counter()
        shop.check(c, "at the end")
        print("check              %7.1f s" % (time.perf_counter() - start))
    finally:
        shop.close()


main()
