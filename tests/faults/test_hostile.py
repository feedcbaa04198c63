"""Arrivals made to do harm: each is refused with a message, nothing changes, memory stays bounded. The traps are put together with git's
plumbing, byte by byte where git itself refuses. usage: test_hostile.py BIN SOURCE MEGABYTES (of the zero blob and of what bombs unfold to)"""
import base64
import gzip
import hashlib
import os
import re
import struct
import subprocess
import sys
import zlib

from shop import Shop, fail

BOUND_MIB = 900  # 768 MiB of address space for the child that looks at arrivals, and what the others take


class Trap:
    """A copy of an honest collection with one evil commit on top."""

    def __init__(self, shop, honest, name):
        self.git_dir = shop.path("trap-" + name)
        subprocess.run(["git", "clone", "-q", "--bare", honest, self.git_dir], check=True, capture_output=True)
        self.env = dict(os.environ, GIT_AUTHOR_NAME="Mallory", GIT_AUTHOR_EMAIL="none", GIT_COMMITTER_NAME="Mallory",
                        GIT_COMMITTER_EMAIL="none", HOME=shop.folder)

    def git(self, *words, data=None):
        r = subprocess.run(["git", "--git-dir=" + self.git_dir, *words], input=data, capture_output=True, env=self.env)
        if r.returncode != 0:
            raise RuntimeError(r.stderr.decode())
        return r.stdout.strip().decode()

    def object(self, kind, data):
        return self.git("hash-object", "-t", kind, "-w", "--stdin", "--literally", data=data)

    def tree(self, entries):
        """entries: (mode, name, id), as they stand: git's own checks are passed by"""
        return self.object("tree", b"".join(mode.encode() + b" " + name.encode() + b"\0" + bytes.fromhex(oid) for mode, name, oid in entries))

    def old_entries(self, path=""):
        out = self.git("ls-tree", "main" + (":" + path if path else ""))
        return [(m, n, i) for m, _, i, n in (re.split(r"[ \t]", line, maxsplit=3) for line in out.splitlines())]

    def commit_tree(self, tree):
        commit = self.git("commit-tree", tree, "-p", "main", "-m", "harmless")
        self.git("update-ref", "refs/heads/main", commit)

    def put(self, path, oid, mode="100644"):
        """Put one entry at a path, whatever it is called."""
        parts = path.split("/")

        def build(at, rest):
            name = rest[0]
            try:
                entries = [e for e in self.old_entries("/".join(at)) if e[1] != name]
            except RuntimeError:
                entries = []
            if len(rest) == 1:
                entries.append((mode, name, oid))
            else:
                entries.append(("40000", name, build(at + [name], rest[1:])))
            entries = [("40000" if m == "040000" else m, n, i) for m, n, i in entries]
            return self.tree(sorted(entries, key=lambda e: e[1] + ("/" if e[0] == "40000" else "")))

        self.commit_tree(build([], parts))

    def put_document(self, text, path="references/type-00/evil/0001.xml"):
        self.put(path, self.object("blob", text if isinstance(text, bytes) else text.encode()))


def with_id(text):
    """The document with the id its content has, so that nothing but the trap itself can be the reason."""
    head, tail = text.split(">", 2)[0] + ">", text[text.index(">") + 1:]
    start = text.index("<reference")
    end = text.index(">", start) + 1
    tag = text[start:end]
    bare = re.sub(r'\s+id="[^"]*"', "", re.sub(r'\s+date="[^"]*"', "", tag))
    digest = hashlib.sha256((text[:start] + bare + text[end:]).encode()).hexdigest()[:32]
    return text[:start] + re.sub(r'id="[^"]*"', 'id="%s"' % digest, tag, count=1) + text[end:]


def delta_bomb(trap, megabytes):
    """A pack in which a few kilobytes unfold to many megabytes: a base of zeros, and a delta that copies it over and over."""
    base = b"\0" * (1 << 20)

    def head(kind, size):
        out, byte = b"", (kind << 4) | (size & 15)
        size >>= 4
        while size:
            out += bytes([byte | 0x80])
            byte, size = size & 0x7F, size >> 7
        return out + bytes([byte])

    def varint(n):
        out = b""
        while n > 127:
            out += bytes([n & 127 | 128])
            n >>= 7
        return out + bytes([n])

    copies = megabytes
    delta = varint(len(base)) + varint(copies * (1 << 20)) + bytes([0x80 | 0x40]) * 0
    delta += b"".join(bytes([0x80 | 0x40, 0x10]) for _ in range(copies))  # offset 0, size 0x100000
    base_id = hashlib.sha1(b"blob %d\0" % len(base) + base).digest()
    pack = b"PACK" + struct.pack(">II", 2, 2) + head(3, len(base)) + zlib.compress(base, 9) + head(7, len(delta)) + base_id + zlib.compress(delta, 9)
    pack += hashlib.sha1(pack).digest()
    trap.git("index-pack", "--stdin", data=pack)
    sha = hashlib.sha1(b"blob %d\0" % (copies << 20))
    for _ in range(copies):
        sha.update(base)
    trap.put("references/type-00/evil/0001.xml", sha.hexdigest())


def traps(shop, honest, megabytes):
    good = open(shop.path("references", "ref-00001.xml")).read()
    evil = with_id(good.replace('version="0"', 'version="1"').replace("type-01/name-00001", "type-00/evil").replace('type="type-01"', 'type="type-00"'))
    block = re.search(r"<(integers|floats)([^>]*)>([^<]+)</", evil)
    squeeze = zlib.compressobj(9)  # a mebibyte at a time: what this process takes must not be counted as the program's
    bomb = base64.b64encode(b"".join([squeeze.compress(b"\0" * (1 << 20)) for _ in range(megabytes)] + [squeeze.flush()])).decode()

    def doc(name, text):
        t = Trap(shop, honest, name)
        t.put_document(text)
        return name, t

    yield doc("wrong-crc", with_id(re.sub(r'crc32="[0-9a-f]{8}"', 'crc32="00000000"', evil, count=1)))
    yield doc("deflate-bomb", with_id(evil[:block.start(3)] + bomb + evil[block.end(3):]))
    yield doc("declared-samples", with_id(re.sub(r'(<(?:integers|floats)[^>]*?count)="\d+"', r'\1="1000000000"', evil, count=1)))
    yield doc("billion-laughs", '<?xml version="1.0"?><!DOCTYPE r [<!ENTITY a "ha">' + "".join(
        '<!ENTITY a%d "%s">' % (i, ("&a%s;" % (i - 1 if i else "")) * 10) for i in range(10)) + "]>" + evil[evil.index("<reference"):].replace(
            "<provenance", "<why>&a9;</why><provenance", 1))
    yield doc("external-entity", '<?xml version="1.0"?><!DOCTYPE r [<!ENTITY x SYSTEM "file:///etc/passwd">]>' + evil[evil.index("<reference"):])
    yield doc("attributes", evil.replace("<reference ", "<reference " + " ".join('a%d=""' % i for i in range(200000)) + " ", 1))
    yield doc("gzipped", gzip.compress(evil.encode()))
    yield doc("not-its-id", evil.replace("Fixture number", "Fixture numbers"))
    yield doc("not-its-name", with_id(evil.replace("type-00/evil", "type-00/other")))
    for name, path in (("dot-dot", "references/../0001.xml"), ("dot-git", ".git/config"), ("outside", "hooks/post-update"),
                       ("upper", "references/type-00/Evil/0001.xml"), ("number", "references/type-00/evil/1.xml")):
        t = Trap(shop, honest, name)
        t.put_document(evil, path)
        yield name, t
    t = Trap(shop, honest, "symlink")
    t.put("references/type-00/evil/0001.xml", t.object("blob", b"/etc/passwd"), "120000")
    yield "symlink", t
    t = Trap(shop, honest, "submodule")
    t.put("references/type-00/evil", "1" * 40, "160000")
    yield "submodule", t
    t = Trap(shop, honest, "twice")
    blob = t.object("blob", evil.encode())
    t.put("references/type-00/evil", t.tree([("100644", "0001.xml", blob), ("100644", "0001.xml", blob)]), "40000")
    yield "twice", t
    t = Trap(shop, honest, "own-approval")
    t.put_document(evil)
    t.put("references/type-00/evil/status.xml", t.object("blob", (
        '<status xmlns="urn:plumbline:status:1"><act kind="approve" version="1" when="2026-01-01T00:00:00Z" who="Mallory"></act></status>').encode()))
    yield "own-approval", t
    t = Trap(shop, honest, "other-name")
    t.put_document(evil)
    t.put("references/type-00/evil/status.xml", t.object("blob", (
        '<status xmlns="urn:plumbline:status:1"><act kind="approve" version="1" when="2026-01-01T00:00:00Z" who="Ada"></act></status>').encode()))
    yield "other-name", t
    t = Trap(shop, honest, "zero-blob")
    zeros = shop.path("zeros")
    with open(zeros, "wb") as f:
        f.truncate(megabytes << 20)
    t.put("references/type-00/evil/0001.xml", t.git("hash-object", "-w", zeros))
    yield "zero-blob", t
    t = Trap(shop, honest, "delta-bomb")
    delta_bomb(t, megabytes)
    yield "delta-bomb", t


def measured(shop, collection, *words):
    """Run, and say the most memory [MiB] that the program and the child it waited for took."""
    with open(shop.path("out"), "w") as out, open(shop.path("err"), "w") as err:
        child = subprocess.Popen(shop.words(collection, *words), env=shop.env, stdout=out, stderr=err)
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    text = open(shop.path("err"), errors="replace").read()
    return subprocess.CompletedProcess(words, child.returncode, "", text), usage.ru_maxrss / 1024


def main():
    shop = Shop(sys.argv[1], sys.argv[2])
    megabytes = int(sys.argv[3])
    try:
        paths = shop.make_references(2)
        honest = shop.init("honest")
        shop.must(honest, "add", paths[0])
        ours = shop.path("ours")
        shop.must(honest, "send", ours)
        branch = open(os.path.join(ours, "refs/heads/main")).read()
        # the trap's own machinery must work: an honest document put the same way arrives
        t = Trap(shop, honest, "honest")
        t.put_document(with_id(open(paths[1]).read().replace('version="0"', 'version="1"')), "references/type-01/name-00001/0001.xml")
        test = shop.path("test")
        shop.must(honest, "send", test)
        r = shop.run(test, "fetch", t.git_dir)
        if r.returncode != 0 or "type-01/name-00001@1" not in shop.selectors(test):
            fail("an honest arrival was refused: " + r.stderr)
        count, peak = 0, 0
        for name, trap in traps(shop, honest, megabytes):
            r, took = measured(shop, ours, "fetch", trap.git_dir)
            peak = max(peak, took)
            message = r.stderr.strip().splitlines()[-1] if r.stderr.strip() else ""
            print("%-16s %d %s" % (name, r.returncode, message[:170]))
            if r.returncode not in (65, 69, 70, 74, 77) or not message.startswith("plumb: "):
                fail("%s: exit %d, %s" % (name, r.returncode, r.stderr))
            if open(os.path.join(ours, "refs/heads/main")).read() != branch:
                fail(name + ": the branch moved")
            count += 1
        shop.check(ours, "after all traps")
        left = [n for n in os.listdir(ours) if n.startswith("quarantine-")]
        if left:
            fail("left behind: %s" % left)
        print("%d traps refused, nothing changed; the largest process took %.0f MiB" % (count, peak))
        if peak > BOUND_MIB:
            fail("more than %d MiB" % BOUND_MIB)
    finally:
        shop.close()


main()
