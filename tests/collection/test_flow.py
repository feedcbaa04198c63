"""From captures to a verdict by way of a collection: learn into it, compare from it, make a verdict again, learn again with one capture less."""
import json
import os
import subprocess
import sys
import tempfile

bins = sys.argv[1]
plumb = os.path.join(bins, "plumb")
passed = failed = 0


def run(folder, status, *words):
    global passed, failed
    env = dict(os.environ, HOME=folder, PLUMBLINE_COLLECTION=os.path.join(folder, "ours"), PLUMBLINE_AUTHOR="First Person")
    env.pop("XDG_DATA_HOME", None)
    r = subprocess.run([plumb, *words], cwd=folder, env=env, capture_output=True, text=True)
    check(r.returncode == status, "%s: exit %d, not %d\n%s%s" % (" ".join(words), r.returncode, status, r.stdout, r.stderr))
    return r.stdout + r.stderr


def check(ok, words):
    global passed, failed
    passed += ok
    failed += not ok
    if not ok:
        print("failed: " + words)


with tempfile.TemporaryDirectory() as folder:
    subprocess.run([os.path.join(bins, "make-demo"), folder], check=True, capture_output=True)
    name = "crank-inductive/fleet/petrol"
    good = ["van-%d.csv" % i for i in range(1, 7)]
    run(folder, 0, "collection", "init", "ours")
    said = run(folder, 0, "learn", "--type", "crank-inductive", "--name", "fleet/petrol", "--provenance", "modelled", "--cycle",
               "wheel:teeth=60,missing=2", "--channel", "crank=2:V", *good)
    check("modelled" in said, "the provenance is not told")
    check(name + "@1" in run(folder, 0, "collection", "list"), "the draft is not listed")

    run(folder, 0, "compare", "van-7.csv", "--reference", name)
    line = run(folder, 0, "compare", "van-7.csv", "--reference", name, "--json")
    verdict = json.loads(line)
    check(verdict["reference"]["version"] == 1 and verdict["reference"]["status"] == "draft", "version and status are not pinned")
    with open(os.path.join(folder, "v.json"), "w") as f:
        f.write(line)
    check("the same" in run(folder, 0, "compare", "--again", "v.json"), "the same comparison is not said to be the same")

    # a newer version must not change what is made again
    said = run(folder, 0, "learn", "--relearn", name, "--exclude", "van-3.csv", "--author", "Apprentice", "--why", "van 3 had a worn sensor")
    check("worn sensor" in run(folder, 0, "collection", "history", name), "why it was learned again is not in the history")
    run(folder, 64, "learn", "--relearn", name, "--why", "x", "-o", "again.xml")
    check("modelled" in said and "van-3.csv" not in said and "van-4.csv" in said, "learned again: " + said)
    run(folder, 0, "learn", "--relearn", name, "van-7.csv", "--channel", "crank=2:V")
    listed = run(folder, 0, "collection", "list", "--all")
    check(name + "@2" in listed and name + "@3" in listed, "learning again gave no new versions")
    run(folder, 64, "learn", "--relearn", name, "--exclude", "van-99.csv")
    check("the same" in run(folder, 0, "compare", "--again", "v.json"), "a newer version changed an old verdict")

    # a verdict whose score was altered does not come out the same; another capture or known-good is refused
    for change, status, words in (
        (lambda v: v.update(score=v["score"] * 2), 1, "differently"),
        (lambda v: v["capture"].update(path="van-6.csv"), 65, "the capture is no longer"),
        (lambda v: v["reference"].update(sha256="0" * 64), 65, "the known-good is no longer"),
        (lambda v: v.update(format="plumbline.verdict/9"), 65, "no verdict/1"),
    ):
        altered = json.loads(line)
        change(altered)
        with open(os.path.join(folder, "altered.json"), "w") as f:
            json.dump(altered, f)
        said = run(folder, status, "compare", "--again", "altered.json")
        check(words in said, "%r is not said: %s" % (words, said))
    with open(os.path.join(folder, "broken.json"), "w") as f:
        f.write("{\n  broken")
    check("broken.json:2:" in run(folder, 65, "compare", "--again", "broken.json"), "the line of the fault is not told")
    run(folder, 66, "compare", "van-7.csv", "--reference", "crank-inductive/none")
    run(folder, 64, "compare", "van-7.csv", "--again", "v.json")

    # like: into a file, with a name of its own
    run(folder, 0, "learn", "--like", name + "@1", "--name", "fleet/other", "--channel", "crank=2:V", *good[:4], "-o", "other.xml")
    check("crank-inductive/fleet/other" in open(os.path.join(folder, "other.xml")).read(), "the new name is not kept")
    # a case rests on the capture by way of the known-good that its verdict speaks of
    run(folder, 0, "collection", "add-case", "--type", "crank-inductive", "--cause", "wide gap", "--proof", "feeler gauge", "--before", "van-8.csv",
        "--reference", name + "@1", "--verdict", "v.json")
    captures = json.loads(run(folder, 0, "collection", "list", "--captures", "--json"))["entries"]
    first = next(e["name"] for e in captures if e["title"] == "van-1.csv")
    said = run(folder, 0, "collection", "withdraw", first)
    check(name + "@1, draft" in said and "(wide gap), with its verdict" in said, "what rests on a capture: " + said)

    # without a version, what serves is retired, not the draft beside it
    run(folder, 0, "collection", "approve", name + "@1", "--author", "Second Person")
    check("retired " + name + "@1" in run(folder, 0, "collection", "retire", name), "another version was retired")
    check(" 0 damaged" in run(folder, 0, "collection", "check"), "the collection is damaged")

print("%d passed, %d failed" % (passed, failed))
sys.exit(failed > 0)
