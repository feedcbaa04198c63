"""Compare rebuilt references with the shipped ones: check.py SHIPPED REBUILT [TYPE/NAME...].
The same bytes are best; else structure must be equal and every number agree to six digits (of its curve's largest value)."""
import os, re, sys
import xml.etree.ElementTree as ElementTree
sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "tests", "reference"))
from decode import decode

DIGITS = 1e-6
BLOCKS = ("integers", "steps", "codes", "floats")
# how a block is packed, and what is the hash of everything, follow from the values
PACKING = {"crc32", "coefficients", "segment", "extra", "planes", "digits", "missing"}

def tag(element):
    return element.tag.split("}")[1]

def near(a, b, scale):
    return a == b or abs(a - b) <= DIGITS * max(scale, abs(a), abs(b)) or (a != a and b != b)

def same_text(a, b):
    """Words equal, numbers near."""
    a, b = (a or "").split(), (b or "").split()
    if len(a) != len(b):
        return False
    for x, y in zip(a, b):
        if x != y:
            try:
                if not near(float(x), float(y), 0):
                    return False
            except ValueError:
                return False
    return True

def differ(a, b, path):
    path = path + "/" + tag(a)
    if tag(a) != tag(b) or len(a) != len(b):
        return path + ": structure"
    if tag(a) in BLOCKS:
        x, y = decode(a), decode(b)
        scale = max([abs(v) for v in x if v == v] or [0])
        step = 10 ** -int(a.get("decimals", 9))  # the last digit kept may fall to either side
        bad = len(x) != len(y) or any(not near(p, q, scale) and abs(p - q) > 1.01 * step for p, q in zip(x, y))
        return path + ": curve" if bad else None
    skip = {"id"} if tag(a) == "reference" else set()
    for key in set(a.keys()) | set(b.keys()):
        if key not in skip and not same_text(a.get(key), b.get(key)):
            return "%s@%s: %s, now %s" % (path, key, a.get(key), b.get(key))
    if not same_text(a.text, b.text):
        return path + ": text"
    for x, y in zip(a, b):
        found = differ(x, y, path)
        if found:
            return found
    return None

def listed(folder, only):
    found = set()
    for at, _, files in os.walk(os.path.join(folder, "references")):
        for name in files:
            path = os.path.relpath(os.path.join(at, name), os.path.join(folder, "references"))
            if not only or any(path.startswith(word) for word in only):
                found.add(path)
    return found

def main(shipped, rebuilt, only):
    a, b = listed(shipped, only), listed(rebuilt, only)
    bad = ["%s: only %s" % (p, "shipped" if p in a else "rebuilt") for p in sorted(a ^ b)]
    same = near_enough = 0
    for path in sorted(a & b):
        one, two = (os.path.join(f, "references", path) for f in (shipped, rebuilt))
        if open(one, "rb").read() == open(two, "rb").read():
            same += 1
            continue
        found = differ(ElementTree.parse(one).getroot(), ElementTree.parse(two).getroot(), "")
        near_enough += found is None
        if found:
            bad.append("%s: %s" % (path, found))
    print("%d documents: %d the same bytes, %d the same to six digits, %d differ" % (len(a | b), same, near_enough, len(bad)))
    print("\n".join(bad))
    return 1 if bad or not a else 0

sys.exit(main(sys.argv[1], sys.argv[2], sys.argv[3:]))
