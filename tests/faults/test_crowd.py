"""Eight processes adding and approving at once: every acknowledged change is in history once, none is lost.
usage: test_crowd.py BIN SOURCE EACH"""
import re
import subprocess
import sys
import threading

from shop import Shop, fail

WORKERS = 8


def work(shop, collection, me, each, acknowledged, troubles):
    source = open(shop.path("references", "ref-00000.xml")).read()
    for i in range(each):
        path = shop.path("new-%d.xml" % me)
        open(path, "w").write(source.replace("Fixture number", "Worker %d item %d" % (me, i)))
        r = shop.run(collection, "add", path, env={"PLUMBLINE_AUTHOR": "Worker %d" % me})
        got = re.findall(r"^stored (\S+@\d+),", r.stdout, re.M)
        if r.returncode != 0 or len(got) != 1:
            troubles.append("add: %d %s" % (r.returncode, r.stderr))
            return
        acknowledged.append(("add", got[0], "Worker %d" % me))
        r = shop.run(collection, "approve", got[0], env={"PLUMBLINE_AUTHOR": "Boss %d" % me})
        if r.returncode != 0:
            troubles.append("approve: %d %s" % (r.returncode, r.stderr))
            return
        acknowledged.append(("approve", got[0], "Boss %d" % me))


def main():
    shop = Shop(sys.argv[1], sys.argv[2])
    each = int(sys.argv[3])
    try:
        shop.make_references(1)
        collection = shop.init("ours")
        acknowledged, troubles = [], []
        threads = [threading.Thread(target=work, args=(shop, collection, k, each, acknowledged, troubles)) for k in range(WORKERS)]
        for t in threads:
            t.start()
        for t in threads:
            t.join()
        if troubles:
            fail("; ".join(troubles[:3]))
        history = shop.must(collection, "history", "type-00/name-00000")
        found = [(m[1], "type-00/name-00000@" + m[0], m[2]) for m in re.findall(r"@(\d+)\s+(add|approve)\s+(\w+ \d+)", history)]
        if sorted(found) != sorted(acknowledged) or len(found) != 2 * WORKERS * each:
            fail("acknowledged %d, in history %d, lost %s" % (len(acknowledged), len(found), set(acknowledged) - set(found)))
        log = subprocess.run(["git", "--git-dir=" + collection, "log", "--format=%s", "main"], capture_output=True, text=True, check=True).stdout
        if len(log.splitlines()) != 1 + 2 * WORKERS * each:
            fail("git counts %d commits" % len(log.splitlines()))
        shop.check(collection, "afterwards")
        print("%d processes at once: %d changes acknowledged, every one in history once" % (WORKERS, len(found)))
    finally:
        shop.close()


main()
