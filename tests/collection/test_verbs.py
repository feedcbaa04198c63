"""Every verb of `plumb collection`, through the program that writes; what it leaves is looked at with git and xmllint, which are not ours."""
import fcntl
import json
import os
import shutil
import subprocess
import sys

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "faults"))
from shop import Shop, fail, stored  # noqa: E402

SECRETS = ("VAN-SECRET-7", "JOB-SECRET-9", "PERSON-SECRET")


def expect(shop, collection, status, text, *words, who="Ada"):
    r = shop.run(collection, *words, env={"PLUMBLINE_AUTHOR": who})
    if r.returncode != status or text not in r.stdout + r.stderr:
        fail("%s: exit %d instead of %d, or not %r:\n%s%s" % (" ".join(words), r.returncode, status, text, r.stdout, r.stderr))
    return r.stdout


def capture(shop):
    path = shop.path("trace.csv")
    with open(path, "w") as f:
        f.write("time,crank\n" + "".join("%.4f,%.2f\n" % (i / 10000, 1 + (i * 37 % 100) / 100) for i in range(400)))
    return path


def everyday(shop, paths):
    c = shop.init("ours")
    expect(shop, c, 0, "nothing private is kept here", "facts")
    expect(shop, c, 0, "stored type-00/name-00000@1", "add", paths[0], paths[1])
    expect(shop, c, 0, "is there already", "add", paths[0])
    expect(shop, c, 77, "cannot approve it", "approve", "type-00/name-00000")
    expect(shop, c, 77, "cannot approve it", "approve", "type-00/name-00000", who="ada <ada@example>")
    expect(shop, c, 0, "approved type-00/name-00000@1, by Bob", "approve", "type-00/name-00000", "--why", "looks right", who="Bob")
    expect(shop, c, 0, "approve  Bob: looks right", "history", "type-00/name-00000")
    text = open(paths[0]).read().replace("Fixture number 0", "By hand")
    edited = shop.path("edited.xml")
    open(edited, "w").write(text)
    expect(shop, c, 0, "stored type-00/name-00000@2", "add", edited)
    expect(shop, c, 0, "type-00/name-00000@1", "list")  # the approved one still serves
    expect(shop, c, 0, "type-00/name-00000@2", "list", "--status", "draft")  # and what waits for approval is found beside it
    expect(shop, c, 64, "foo is no status", "list", "--status", "foo")
    expect(shop, c, 64, "guessed is no provenance", "find", "--provenance", "guessed")
    expect(shop, c, 1, 'was "Fixture number 0", is "By hand"', "diff", "type-00/name-00000@1", "type-00/name-00000@2")
    expect(shop, c, 0, "stored type-00/name-00000@3", "restore", "type-00/name-00000@1")
    first, third = (shop.must(c, "show", "type-00/name-00000@%d" % n, "--xml") for n in (1, 3))
    if "<predecessor>" in first or "<predecessor>" not in third or 'version="3"' not in third:
        fail("number and predecessor are not in the document")
    expect(shop, c, 0, "retired", "retire", "type-00/name-00000@1", "--why", "superseded")
    expect(shop, c, 0, "type-00/name-00000@3", "show", "type-00/name-00000")
    expect(shop, c, 64, "there is no setting", "set", "colour", "blue")
    expect(shop, c, 64, "there is no setting", "set", "colour")
    expect(shop, c, 0, "author-approves is no", "set")
    expect(shop, c, 0, "author-approves is now yes", "set", "author-approves", "yes")
    expect(shop, c, 0, "author-approves is yes", "set", "author-approves")
    expect(shop, c, 0, "its own author", "approve", "type-01/name-00001")
    expect(shop, c, 0, "own, by the collection's setting", "history", "type-01/name-00001")
    expect(shop, c, 66, "did you mean", "show", "type-01/name-00002")
    return c


def evidence(shop, c, paths):
    trace = capture(shop)
    expect(shop, c, 0, "stored capture ", "add", trace, "--vehicle", SECRETS[0], "--job", SECRETS[1], "--person", SECRETS[2])
    expect(shop, c, 77, "the file's name tells the vehicle tag", "add", shutil.copy(trace, shop.path("a-%s.csv" % SECRETS[0].lower())), "--vehicle", SECRETS[0])
    expect(shop, c, 0, "vehicle %s  job %s  person %s" % SECRETS[:3], "facts")
    expect(shop, c, 0, "job " + SECRETS[1], "facts", SECRETS[0].lower())
    expect(shop, c, 66, "nothing private is kept of van-none", "facts", "van-none")
    case(shop, c, trace)
    expect(shop, c, 64, "a case needs", "add-case", "--type", "crank")
    out = expect(shop, c, 0, "stored case ", "add-case", "--type", "crank", "--cause", "air gap too large", "--proof", "measured 2.1 mm", "--before", trace,
                 "--reference", "type-01/name-00001", "--job", SECRETS[1])
    if "is there already, as capture" not in out:
        fail("the same capture was stored twice")
    ident = shop.must(c, "list", "--captures").split()[0]
    expect(shop, c, 0, "rests on it: case", "withdraw", ident)
    expect(shop, c, 0, "rests on it: case", "withdraw", "type-01/name-00001@1")
    expect(shop, c, 0, "crank-inductive: air gap too large", "list", "--cases")


def outside(shop, c):
    """git and xmllint look at what was written."""
    fsck = subprocess.run(["git", "--git-dir=" + c, "fsck", "--strict"], capture_output=True, text=True)
    if fsck.returncode or fsck.stdout or fsck.stderr:
        fail("git fsck --strict: " + fsck.stdout + fsck.stderr)
    clone = shop.path("clone")
    subprocess.run(["git", "clone", "-q", c, clone], check=True)
    count = 0
    for top, _, names in os.walk(clone):
        if ".git" in top.split(os.sep):
            continue
        for name in names:
            path = os.path.join(top, name)
            kind = "settings" if name == "settings.xml" else "status" if name.endswith("status.xml") else os.path.relpath(path, clone).split(os.sep)[0].rstrip("s")
            r = subprocess.run(["xmllint", "--noout", "--nonet", "--schema", os.path.join(shop.source, "schema", kind + ".xsd"), path], capture_output=True, text=True)
            if r.returncode not in (0, 77):
                fail(path + ": " + r.stderr)
            count += 1
    if count < 55:
        fail("only %d files in the clone" % count)
    ours, theirs = (shop.must(x, "list", "--all", "--json") for x in (c, clone))
    if [l.split('"status"')[0] for l in ours.splitlines()] != [l.split('"status"')[0] for l in theirs.splitlines()]:
        fail("the clone, read as a plain folder, lists something else")
    return clone


def json_valid(shop, c):
    validate = os.path.join(shop.source, "tests", "report", "validate.py")
    outputs = {"listing-1": [["list", "--all"], ["list", "--captures"], ["list", "--cases"], ["list", "--types"], ["show", "type-00/name-00000"],
                             ["history", "type-00/name-00000"]],
               "difference-1": [["diff", "type-00/name-00000@1", "type-00/name-00000@2"], ["diff", "type-00/name-00000@1", "type-00/name-00000@1"]]}
    for schema, runs in outputs.items():
        for i, words in enumerate(runs):
            path = shop.path("%s-%d.json" % (schema, i))
            open(path, "w").write(shop.run(c, *words, "--json").stdout.replace("\n", "") + "\n")
            r = subprocess.run(["/usr/bin/python3", validate, os.path.join(shop.source, "schema", schema + ".json"), path], capture_output=True, text=True)
            if r.returncode not in (0, 77):
                fail("%s: %s" % (" ".join(words), r.stdout + r.stderr))


def case(shop, c, trace):
    """A proved fault: the folders its verdict names stay at home, and a name that tells what is private is refused."""
    verdict = shop.path("verdict.json")
    with open(verdict, "w") as f:
        f.write('{"format":"plumbline.verdict/1","reference":{"selector":"type-00/name-00000","path":null},"capture":{"path":"/shop/%s/trace.csv"},'
                '"request": {"capture": "../%s/trace.csv", "reference": "type-00/name-00000"}}' % SECRETS[:2])
    words = ["add-case", "--type", "type-00", "--proof", "measured", "--before", trace, "--reference", "type-00/name-00000@3", "--verdict", verdict,
             "--vehicle", SECRETS[0], "--job", SECRETS[1], "--person", SECRETS[2]]
    expect(shop, c, 77, "--cause tells the job number", *words, "--cause", "as in %s" % SECRETS[1])
    telling = shop.path("telling.json")
    open(telling, "w").write(open(verdict).read().replace("trace.csv", SECRETS[0] + ".csv"))
    expect(shop, c, 77, "a file's name in the verdict tells the vehicle tag", *(telling if w == verdict else w for w in words), "--cause", "worn lead")
    expect(shop, c, 0, "worn lead", *words, "--cause", "worn lead")
    found = next(e for e in json.loads(shop.must(c, "list", "--cases", "--json"))["entries"])
    text = shop.must(c, "show", found["name"], "--xml").replace("&quot;", '"')
    if '"path":"trace.csv"' not in text or '"capture": "trace.csv", "reference": "type-00/name-00000"' not in text:
        fail("the verdict in the case: %s" % text)


def secrets(folder):
    found = set()
    for top, dirs, _ in os.walk(folder):
        if os.path.isdir(os.path.join(top, "objects")) and (top.endswith(".git") or os.path.exists(os.path.join(top, "HEAD"))):
            out = subprocess.run(["git", "--git-dir=" + top, "cat-file", "--batch-all-objects", "--batch"], capture_output=True, check=True).stdout
            found |= {s for s in SECRETS if s.encode() in out}
    for top, _, names in os.walk(folder):
        for name in names:
            data = open(os.path.join(top, name), "rb").read()
            found |= {s for s in SECRETS if s.encode() in data}
    return found


def send_waits(shop, c, other):
    """While somebody writes to the folder that is sent to, sending waits: its branch moves without a look at where it was."""
    with open(os.path.join(other, "plumbline.lock"), "r+") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        p = subprocess.Popen(shop.words(c, "send", other), env=shop.env, stdout=subprocess.DEVNULL)
        try:
            p.wait(timeout=1)
            fail("it was sent to a folder that another program was writing to")
        except subprocess.TimeoutExpired:
            pass
    if p.wait(timeout=60) != 0:
        fail("sending after the wait: exit %d" % p.returncode)


def sharing(shop, c, clone, paths):
    other = shop.path("other")
    expect(shop, c, 0, "sent to", "send", other)
    send_waits(shop, c, other)
    if secrets(other) or secrets(clone):
        fail("something private left: %s" % (secrets(other) | secrets(clone)))
    if secrets(c) != set(SECRETS):
        fail("the search for private facts finds nothing even where they are")
    expect(shop, other, 0, "stored", "add", paths[2], who="Cleo")
    mine, theirs = shop.path("mine.xml"), shop.path("theirs.xml")
    text = open(paths[1]).read()
    open(mine, "w").write(text.replace("Fixture number", "Mine"))
    open(theirs, "w").write(text.replace("Fixture number", "Theirs"))
    expect(shop, c, 0, "stored type-01/name-00001@2", "add", mine)
    expect(shop, other, 0, "stored type-01/name-00001@2", "add", theirs, who="Cleo")
    before = shop.selectors(c)
    expect(shop, c, 77, "fetch from it first", "send", other)
    expect(shop, c, 69, "there is no such folder", "fetch", shop.path("nowhere"))
    expect(shop, c, 1, "changed on both sides: type-01/name-00001: mine up to @2, theirs up to @2", "fetch", other)
    if shop.selectors(c) != before:
        fail("a conflict changed something")
    for keep in ("mine", "theirs", "both"):
        copy = shop.path("keep-" + keep)
        shutil.copytree(c, copy)
        expect(shop, copy, 0, "fetched from", "fetch", other, "--keep", "type-01/name-00001=" + keep)
        now = shop.selectors(copy)
        more = {"mine": set(), "theirs": {"type-01/name-00001@3"}, "both": {"type-01/name-00001-theirs@1"}}[keep]
        if now != before | more | {"type-02/name-00002@1"}:
            fail("keep %s: %s" % (keep, sorted(now)))
        if "Mine" not in shop.must(copy, "show", "type-01/name-00001@2", "--xml"):
            fail("keep %s: a version changed" % keep)
        if os.path.dirname(other) in subprocess.run(["git", "-C", copy, "log", "--format=%B"], capture_output=True, text=True, check=True).stdout:
            fail("history names a folder of this machine")
        expect(shop, copy, 0, "nothing new", "fetch", other)
        shop.check(copy, "keep " + keep)
    decided_once(shop, shop.path("keep-mine"), other, theirs)
    mine_kept = shop.path("keep-mine")
    expect(shop, mine_kept, 77, "holds another type-01/name-00001@2", "send", other)
    if "Theirs" not in shop.must(other, "show", "type-01/name-00001@2", "--xml"):
        fail("a refused send changed a version")
    expect(shop, mine_kept, 64, "makes no sense when sending", "send", other, "--keep", "both")
    expect(shop, mine_kept, 0, "sent to", "send", other, "--keep", "mine")
    if "Mine" not in shop.must(other, "show", "type-01/name-00001@2", "--xml"):
        fail("--keep mine sent something else")
    shop.check(other, "the other one")


def decided_once(shop, ours, other, theirs):
    """What was decided is not asked again; what they build on their side of it is."""
    copy = shop.path("decided")
    shutil.copytree(other, copy)
    expect(shop, copy, 1, "changed on both sides", "fetch", ours)
    expect(shop, copy, 0, "fetched from", "fetch", ours, "--keep", "mine")
    shop.check(copy, "they kept theirs")
    expect(shop, ours, 0, "fetched from", "fetch", copy)
    shop.check(ours, "fetched after both had decided")
    newer = shop.path("newer.xml")
    open(newer, "w").write(open(theirs).read().replace("Theirs", "Theirs again"))
    expect(shop, copy, 0, "stored type-01/name-00001@3", "add", newer, who="Cleo")
    expect(shop, ours, 1, "changed on both sides: type-01/name-00001", "fetch", copy)
    expect(shop, ours, 0, "fetched from", "fetch", copy, "--keep", "mine")
    shop.check(ours, "a version built on the other one was left out")


def chain(shop, c):
    """Somebody puts another text under an old number with a git client: the version after it tells."""
    copy, work = shop.path("chain"), shop.path("chain-work")
    shutil.copytree(c, copy)
    subprocess.run(["git", "clone", "-q", copy, work], check=True)
    old = os.path.join(work, "references", "type-01", "name-00001", "0001.xml")
    text = open(old).read()
    with open(old, "w") as f:
        f.write(text.replace("Fixture number", "Another number"))
    who = ["-c", "user.name=Mallory", "-c", "user.email=mallory@example.org"]
    subprocess.run(["git", "-C", work, *who, "commit", "-q", "-am", "quietly"], check=True)
    subprocess.run(["git", "-C", work, "push", "-q", "origin", "HEAD:main"], check=True)
    r = shop.run(copy, "check")
    if r.returncode != 65 or "name-00001/0002.xml: it names" not in r.stdout + r.stderr:
        fail("a changed old version was not told by the one after it: %d %s%s" % (r.returncode, r.stdout, r.stderr))


def nested(shop, c, paths):
    """A reference whose name lies between two versions of another: the chain is still followed."""
    inside = shop.path("inside.xml")
    open(inside, "w").write(open(paths[0]).read().replace("type-00/name-00000", "type-00/name-00000/0001z"))
    expect(shop, c, 0, "stored type-00/name-00000/0001z@1", "add", inside)
    shop.check(c, "a name inside a name")


def upkeep(shop, c, paths):
    before = shop.must(c, "list", "--all", "--json")
    expect(shop, c, 0, "went into one pack", "pack")
    shop.check(c, "packed")
    os.remove(os.path.join(c, "plumbline.index"))
    if shop.must(c, "list", "--all", "--json") != before:
        fail("the index, made again, says something else")
    many = shop.path("many")
    os.mkdir(many)
    for p in shop.make_references(30, first=100):
        shutil.move(p, many)
    expect(shop, c, 0, "imported 30 documents from 30 files", "import", many)
    if len(shop.selectors(c)) != before.count('"kind":"reference"') + 30:
        fail("the import lost something")
    shop.check(c, "after the import")
    expect(shop, c, 65, "plumb: ", "add", os.path.join(shop.source, "CMakeLists.txt"))
    expect(shop, c, 73, "there is something here already", "init", c)


def first_write(shop, paths):
    """With nothing named, the first write makes the user's own collection."""
    env = dict(shop.env, HOME=shop.path("somebody"))
    env.pop("PLUMBLINE_COLLECTION", None)
    r = subprocess.run([shop.store, "collection", "add", paths[0]], env=env, capture_output=True, text=True)
    own = shop.path("somebody", ".local", "share", "plumbline", "collection")
    if r.returncode or "type-00/name-00000@1" not in shop.selectors(own):
        fail("the first write: exit %d %s" % (r.returncode, r.stderr))
    learner = os.path.join(shop.bin, "plumb")
    if not os.access(learner, os.X_OK):
        return
    demo, env["HOME"] = shop.path("demo"), shop.path("learner")
    os.mkdir(demo)
    subprocess.run([os.path.join(shop.bin, "make-demo"), demo], check=True, stdout=subprocess.DEVNULL)
    good = [os.path.join(demo, "van-%d.csv" % i) for i in range(1, 5)]
    r = subprocess.run([learner, "learn", "--type", "crank-inductive", "--name", "first/learned", "--cycle", "wheel:teeth=60,missing=2", "--channel", "crank=2:V", *good],
                       env=env, capture_output=True, text=True)
    own = shop.path("learner", ".local", "share", "plumbline", "collection")
    if r.returncode or "stored crank-inductive/first/learned@1" not in r.stdout or "crank-inductive/first/learned@1" not in shop.selectors(own):
        fail("learning as the first write: exit %d %s" % (r.returncode, r.stderr))


def main():
    shop = Shop(sys.argv[1], sys.argv[2])
    try:
        paths = shop.make_references(3)
        c = everyday(shop, paths)
        evidence(shop, c, paths)
        json_valid(shop, c)
        clone = outside(shop, c)
        sharing(shop, c, clone, paths)
        chain(shop, c)
        nested(shop, c, paths)
        upkeep(shop, c, paths)
        first_write(shop, paths)
        print("all verbs do what they say")
    finally:
        shop.close()


main()
