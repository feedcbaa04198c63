"""Changes one character in the longest base64 block of a document: what a bad disk does."""
import re
import sys

text = open(sys.argv[1], encoding="utf-8").read()
block = max(re.finditer(r"[A-Za-z0-9+/]{40,}", text), key=lambda m: len(m.group()))
middle = (block.start() + block.end()) // 2
other = "A" if text[middle] != "A" else "B"
with open(sys.argv[2], "w", encoding="utf-8") as out:
    out.write(text[:middle] + other + text[middle + 1:])
