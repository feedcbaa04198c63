"""Places where nothing can be written: a read-only folder, a full disk (a small tmpfs, where one can be mounted), another user's folder."""
import os
import shutil
import subprocess
import sys

from shop import Shop, fail, stored


def refused(shop, collection, path, what, user=None):
    r = shop.run(collection, "add", path) if user is None else run_as(shop, user, collection, "add", path)
    if r.returncode not in (73, 74) or not r.stderr.startswith("plumb: "):
        fail("%s: exit %d, %s" % (what, r.returncode, r.stderr))


def run_as(shop, user, collection, *words):
    home = shop.path("home-of-" + str(user))
    os.makedirs(home, exist_ok=True)
    os.chmod(home, 0o777)
    env = dict(shop.env, HOME=home, XDG_CACHE_HOME=home + "/cache", PLUMBLINE_AUTHOR="Somebody Else")

    def become():
        os.setgid(user)
        os.setuid(user)

    return subprocess.run(shop.words(collection, *words), env=env, capture_output=True, text=True, preexec_fn=become, cwd="/")


def another_user(shop, collection, paths):
    """root may write everywhere, so a read-only folder is tried as somebody else; that is the second user as well."""
    user = 65534
    if os.getuid() != 0:
        print("not root: another user and the read-only folder are tried with chmod alone")
        subprocess.run(["chmod", "-R", "a-w", collection], check=True)
        refused(shop, collection, paths[1], "read-only folder")
        subprocess.run(["chmod", "-R", "u+w", collection], check=True)
        return
    os.chmod(shop.folder, 0o755)
    for top in (collection, shop.references):
        subprocess.run(["chmod", "-R", "a+rX", top], check=True)
    probe = run_as(shop, user, collection, "list")
    if "cannot execute" in probe.stderr:
        print("the second user cannot reach the program: skipped")
        return
    for words in (["list"], ["show", "type-00/name-00000"], ["history", "type-00/name-00000"], ["check"]):
        r = run_as(shop, user, collection, *words)
        if r.returncode != 0 or not r.stdout:
            fail("another user: %s: exit %d, %s" % (words, r.returncode, r.stderr))
    os.rename(os.path.join(collection, "plumbline.index"), shop.path("index-aside"))
    r = run_as(shop, user, collection, "list")  # made again in that user's cache
    if r.returncode != 0 or "type-00/name-00000@1" not in r.stdout:
        fail("another user, no index: exit %d, %s" % (r.returncode, r.stderr))
    os.rename(shop.path("index-aside"), os.path.join(collection, "plumbline.index"))
    refused(shop, collection, paths[1], "another user's folder", user)
    print("another user reads, checks and is refused to write")


def full_disk(shop, paths):
    mount = shop.path("small")
    os.mkdir(mount)
    if os.getuid() != 0 or subprocess.run(["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", mount], capture_output=True).returncode != 0:
        print("no tmpfs can be mounted here: the full disk is tried by failing writes alone")
        return
    try:
        collection = os.path.join(mount, "collection")
        shop.must(collection, "init")
        shop.must(collection, "add", paths[0])
        room = os.statvfs(mount)
        with open(os.path.join(mount, "filler"), "wb") as f:
            f.write(b"x" * (room.f_bavail * room.f_bsize - 8192))
        before = shop.selectors(collection)
        refused(shop, collection, paths[1], "full disk")
        shop.check(collection, "full disk")
        if shop.selectors(collection) != before:
            fail("full disk: something changed")
        os.remove(os.path.join(mount, "filler"))
        new = stored(shop.must(collection, "add", paths[1]))
        if not new or not new <= shop.selectors(collection):
            fail("the next add was lost")
        shop.check(collection, "after the full disk")
        print("a full disk of 2 MiB refuses, loses nothing, and the next add goes in")
    finally:
        subprocess.run(["umount", mount], check=True)


def main():
    shop = Shop(sys.argv[1], sys.argv[2])
    try:
        paths = shop.make_references(3)
        collection = shop.init("ours")
        shop.must(collection, "add", paths[0])
        another_user(shop, collection, paths)
        shop.check(collection, "after the read-only folder")
        shop.must(collection, "add", paths[1])
        full_disk(shop, paths)
    finally:
        shop.close()


main()
