"""What the fault tests share: running plumb-store on throw-away collections, and what must hold after every fault."""
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile


class Shop:
    def __init__(self, bin_dir, source_dir):
        self.store = os.path.join(bin_dir, "plumb-store")
        self.bin = bin_dir
        self.source = source_dir
        self.folder = tempfile.mkdtemp(prefix="plumbline-faults-", dir=os.environ.get("TMPDIR"))
        self.env = dict(os.environ, HOME=self.folder, PLUMBLINE_AUTHOR="Ada", XDG_CACHE_HOME=os.path.join(self.folder, "cache"))
        self.env["TMPDIR"] = os.path.join(self.folder, "tmp")  # what killed programs leave behind goes with the folder
        os.mkdir(self.env["TMPDIR"])
        os.chmod(self.env["TMPDIR"], 0o1777)  # another user comes here too
        leaks = os.path.join(os.path.dirname(os.path.abspath(__file__)), "leaks.txt")
        self.env["LSAN_OPTIONS"] = "suppressions=%s:print_suppressions=0" % leaks
        for name in ("PLUMBLINE_COLLECTION", "XDG_DATA_HOME", "SOURCE_DATE_EPOCH"):
            self.env.pop(name, None)
        self.references = os.path.join(self.folder, "references")
        os.mkdir(self.references)

    def close(self):
        subprocess.run(["chmod", "-R", "u+rwX", self.folder], check=False)
        shutil.rmtree(self.folder, ignore_errors=True)

    def path(self, *names):
        return os.path.join(self.folder, *names)

    def make_references(self, count, types=3, first=0, exemplars=0):
        subprocess.run([os.path.join(self.bin, "make-references"), self.references, str(count), str(types), str(exemplars), str(first)],
                       check=True)
        return [os.path.join(self.references, "ref-%05d.xml" % i) for i in range(first, first + count)]

    def words(self, collection, *words):
        return [self.store, "collection", "--collection", collection, *words]

    def run(self, collection, *words, env=None, **more):
        return subprocess.run(self.words(collection, *words), env=dict(self.env, **(env or {})), capture_output=True, text=True,
                              errors="replace", **more)

    def must(self, collection, *words, env=None):
        r = self.run(collection, *words, env=env)
        if r.returncode != 0:
            fail("%s: exit %d\n%s%s" % (" ".join(words), r.returncode, r.stdout, r.stderr))
        return r.stdout

    def init(self, name):
        collection = self.path(name)
        self.must(collection, "init")
        return collection

    def entries(self, collection):
        return json.loads(self.must(collection, "list", "--all", "--json"))["entries"]

    def selectors(self, collection):
        return {"%s@%d" % (e["name"], e["version"]) for e in self.entries(collection)}

    def check(self, collection, what):
        r = self.run(collection, "check")
        if r.returncode != 0:
            fail("%s: check: exit %d\n%s%s" % (what, r.returncode, r.stdout, r.stderr))


def stored(text):
    """Selectors a command acknowledged on its standard output."""
    return set(re.findall(r"^stored (\S+@\d+),", text, re.M))


def fail(text):
    print("FAILED:", text, file=sys.stderr)
    sys.exit(1)
