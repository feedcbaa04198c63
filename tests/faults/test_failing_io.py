"""Writes, flushes and renames that fail: tried at every call of one add, once and from then on. What was acknowledged is there, check is
clean, and the next add succeeds. usage: test_failing_io.py BIN SOURCE LIBRARY STEP (1: every call)"""
import shutil
import sys

from shop import Shop, fail, stored


def one(shop, library, base, call, at, onward, paths):
    collection = shop.path("work")
    shutil.rmtree(collection, ignore_errors=True)
    shutil.copytree(base, collection)
    env = {"LD_PRELOAD": library, "FAIL_CALL": call, "FAIL_AT": str(at), "FAIL_COUNT": shop.path("count")}
    if onward:
        env["FAIL_ONWARD"] = "1"
    before = shop.selectors(collection)
    r = shop.run(collection, "add", paths[1], env=env)
    reached = int(open(shop.path("count")).read()) >= at
    what = "%s call %d %s" % (call, at, "onward" if onward else "once")
    if r.returncode not in (0, 73, 74):
        fail("%s: exit %d\n%s%s" % (what, r.returncode, r.stdout, r.stderr))
    if r.returncode != 0 and not r.stderr.startswith("plumb: "):
        fail("%s: no message: %s" % (what, r.stderr))
    shop.check(collection, what)
    after = shop.selectors(collection)
    if not before <= after or (r.returncode == 0 and not stored(r.stdout) <= after):
        fail("%s: lost %s" % (what, (before | stored(r.stdout)) - after))
    if after - before and r.returncode != 0 and "stored, not yet certain" not in r.stderr:
        fail("%s: changed although it said otherwise: %s" % (what, r.stderr))
    again = stored(shop.must(collection, "add", paths[2]))
    if not again <= shop.selectors(collection):
        fail("%s: the next add was lost" % what)
    shop.must(collection, "add", paths[1])  # the same one once more
    shop.check(collection, what + ", afterwards")
    return reached, r.returncode


def main():
    bin_dir, source, library = sys.argv[1:4]
    step = int(sys.argv[4])  # 1: every call
    shop = Shop(bin_dir, source)
    try:
        paths = shop.make_references(3)
        base = shop.init("base")
        shop.must(base, "add", paths[0])
        total = failed = 0
        for call in ("write", "fsync", "rename"):
            for onward in (False, True):
                at = 1
                while True:
                    reached, status = one(shop, library, base, call, at, onward, paths)
                    if not reached:
                        break
                    total += 1
                    failed += status != 0
                    at += step
        print("%d faults, %d of them made the add fail; none lost anything" % (total, failed))
        if failed < 40 // step:
            fail("the faults do not reach the program")
    finally:
        shop.close()


main()
