"""Decode every sample block of a document: the whole format in one page, with nothing but XML, base64 and zlib.
decode.py DOCUMENT prints the values of all blocks, in their order, as 64-bit floats, lowest byte first."""
import base64, struct, sys, zlib
import xml.etree.ElementTree as ElementTree

def floats(block, data, count):
    raw, n = zlib.decompress(data), int(block.get("planes"))
    assert len(raw) == count * n
    values = [bytes(raw[p * count + i] for p in range(n)) for i in range(count)]
    assert zlib.crc32(b"".join(values)) == int(block.get("crc32"), 16)
    return [struct.unpack("<f" if n == 4 else "<d", v)[0] for v in values]

def codes(block, data, count):
    segment, predictors, at = int(block.get("segment")), [], 0
    for _ in range(0, count, segment):
        n, shift = data[at], data[at + 1]
        predictors.append((struct.unpack_from("<%dh" % n, data, at + 2), shift))
        at += 2 + 2 * n
    raw, extra = zlib.decompress(data[at:]), int(block.get("extra"))
    large, k, at = raw[:count].count(255), [], count
    for i, u in enumerate(raw[:count]):
        if u == 255:
            u, at = u + sum(raw[at + p * large] << 8 * p for p in range(extra)), at + 1
        weights, shift = predictors[i // segment]
        before = sum(w * k[i - 1 - j] for j, w in enumerate(weights) if j < i)
        k.append((u // 2 if u % 2 == 0 else -(u + 1) // 2) + (before >> shift))
    assert zlib.crc32(struct.pack("<%di" % count, *k)) == int(block.get("crc32"), 16)
    return k

def printed(block, k):
    p = 0
    for c in reversed([int(c) for c in block.get("coefficients").split()]):
        p = (p * k >> int(block.get("code-bits"))) + c
    u, one, digits = 1, 1 << int(block.get("step-shift")), int(block.get("digits", 0))
    while digits and abs(p) >= u * 10 ** digits * one:
        u *= 10
    m, rest = divmod(2 * p + u * one, 2 * u * one)
    down = rest == 0 and {"even": m % 2, "away": p < 0}.get(block.get("ties"), 0)
    return u * (m - down)

def decode(block):
    kind, count = block.tag.split("}")[1], int(block.get("count"))
    data = base64.b64decode("".join(block.text.split()), validate=True)
    if kind == "floats":
        return floats(block, data, count)
    k = codes(block, data, count)
    if kind == "codes":
        return [float(block.get("offset")) + float(block.get("scale")) * x for x in k]
    m = [printed(block, x) for x in k] if kind == "steps" else k
    values = [x / 10 ** int(block.get("decimals")) for x in m]
    missing = [int(x) for x in block.get("missing", "").split()]
    for first, n in zip(missing[::2], missing[1::2]):
        values[first:first + n] = [float("nan")] * n
    return values

if __name__ == "__main__":
    for element in ElementTree.parse(sys.argv[1]).iter():
        if element.tag.split("}")[1] in ("integers", "steps", "codes", "floats"):
            values = decode(element)
            sys.stdout.buffer.write(struct.pack("<%dd" % len(values), *values))
