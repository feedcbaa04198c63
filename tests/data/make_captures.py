#!/usr/bin/python3
"""Write the capture files of tests/data/bad/captures and tests/data/good/captures again.

Each bad file has the one defect it is named for, each good one the one property. tests/capture/test_bad.c and test_good.c say what
reading them must give. Run by hand only, when a file is added; then look at the difference before committing it.
"""
import io
import pathlib
import struct
import zipfile

HERE = pathlib.Path(__file__).resolve().parent
BAD = HERE / "bad" / "captures"
GOOD = HERE / "good" / "captures"

ROWS = ["0.000,1.5,10", "0.001,-2.25,20", "0.002,3,30.5", "0.003,0.5,1"]


def text(name, *lines, end="\n", folder=BAD, encoding="utf-8"):
    (folder / name).write_bytes((end.join(lines) + end).encode(encoding))


def raw(name, data, folder=BAD):
    (folder / name).write_bytes(data)


def wave_chunk(ident, body):
    return ident + struct.pack("<I", len(body)) + body


def wave_format(tag=1, channels=1, rate=48000, bits=16, block=None):
    block = channels * bits // 8 if block is None else block
    return wave_chunk(b"fmt ", struct.pack("<HHIIHH", tag, channels, rate, rate * block, block, bits))


def wave(*chunks, ident=b"RIFF", form=b"WAVE"):
    body = form + b"".join(chunks)
    return ident + struct.pack("<I", len(body)) + body


SAMPLES = struct.pack("<4h", 1, -2, 3, -4)
GUID_TAIL = bytes.fromhex("000000001000800000AA00389B71")


def extensible(size=40, tail=GUID_TAIL, tag=1):
    body = struct.pack("<HHIIHHHHIH", 0xFFFE, 1, 48000, 96000, 2, 16, 22, 16, 4, tag) + tail
    return wave_chunk(b"fmt ", body[:size])


def npy(header, data=b"", major=1, cut=None):
    start = 10 if major == 1 else 12
    length = (start + len(header) + 1 + 63) // 64 * 64 - start
    head = header.encode() + b" " * (length - len(header) - 1) + b"\n"
    size = struct.pack("<H" if major == 1 else "<I", length)
    return (b"\x93NUMPY" + bytes([major, 0]) + size + head + data)[:cut]


def literal(descr="'<f8'", shape="(3,)", fortran="False"):
    return "{'descr': %s, 'fortran_order': %s, 'shape': %s, }" % (descr, fortran, shape)


def bad_text():
    raw("empty.csv", b"")
    text("only-blanks.csv", "   ", "", "\t")
    text("header-only.csv", "time,CH1,CH2")
    text("header-and-units-only.csv", "time,CH1,CH2", "s,V,A")
    text("preamble-only.txt", "Recorder", "Channels: two", "Range: wide")
    text("row-too-short.csv", *ROWS[:2], "0.002,3", ROWS[3])
    text("row-too-long.csv", *ROWS[:2], "0.002,3,30.5,7", ROWS[3])
    text("first-row-too-short.csv", "0.000,1.5", *ROWS[1:])
    raw("last-row-cut.csv", "\n".join(ROWS[:3]).encode() + b"\n0.003,0.")
    raw("last-number-cut-in-exponent.csv", b"0.000E+0,1.5E+0\n1.000E-3,2.5E+0\n2.000E-3,3.5E")
    text("text-in-number.csv", "time,CH1,CH2", *ROWS[:2], "0.002,open,30.5", ROWS[3])
    text("text-in-first-row.csv", "0.000,open,10", *ROWS[1:])
    text("text-behind-65536-bytes.csv", *["%.3f,1" % (i / 1000) for i in range(9000)], "9.000,x", "9.001,1")
    text("unit-behind-number.csv", *ROWS[:2], "0.002,3V,30.5", ROWS[3])
    text("thousands-marks.csv", "0.000;1234.5", "0.001;1,234.5", "0.002;1234.5")
    text("thousands-points.csv", "0.000;1234.5", "0.001;1.234.567", "0.002;1234.5")
    text("thousands-everywhere.csv", "time;CH1", "0.000;1,234.5", "0.001;2,234.5", "0.002;3,234.5")
    text("comma-ambiguous.csv", "5,3", "8,2", "9,9", "1,4")
    text("comma-thousands-or-thousandths.csv", "A;B", "1,234;2,345", "3,456;1,111", "2,222;3,333")
    text("comma-separates-and-marks.csv", "0,001,1,25", "0,002,1,50", "0,003,1,75")
    text("decimal-comma-in-one-row.csv", "0.000;1.5", "0.001;2,5", "0.002;3.5", "0.003;3.5")
    text("decimal-point-in-one-row.csv", "0,000;1,5", "0,001;2.5", "0,002;3,5", "0,003;3,5")
    text("no-time-column.csv", "A,B", "5,1", "3,2", "4,3", "1,2")
    text("only-a-time-column.csv", "time", "0.001", "0.002", "0.003")
    text("time-goes-back.csv", "time,CH1", "0.000,1", "0.001,2", "0.0005,3", "0.002,4")
    text("time-goes-back-without-header.csv", *["%.3f,1" % (i / 1000) for i in range(3000)], "0.000,1", "0.001,1")
    text("time-stands-still.csv", "time,CH1", "0.5,1", "0.5,2", "0.5,3")
    text("time-missing.csv", "time,CH1", "0.000,1", ",2", "0.002,3", "0.003,3")
    text("time-in-volts.csv", "time (V),CH1", "0.000,1", "0.001,2", "0.002,3")
    text("two-different-times.csv", "Time A,A,Time B,B", "0.0,1,0.5,1", "1.0,2,1.5,2", "2.0,3,2.5,3")
    text("one-row.csv", "time,CH1", "0.0,1")
    text("quote-not-closed.csv", *ROWS[:2], '0.002,"3,30.5', ROWS[3])
    raw("nul-in-a-row.csv", b"0.000,1.5\n0.001,2\x005\n0.002,3\n")
    raw("control-character-in-a-row.csv", b"0.000,1.5\n0.001,2\x01\n0.002,3\n")
    raw("utf16-half-a-character.csv", "0,1\n1,2\n2,3\n".encode("utf-16") + b"\n")
    raw("utf16-half-a-pair.csv", b"\xFF\xFE" + "t,".encode("utf-16-le") + b"\x27\xDD" + "\n0,1\n1,2\n".encode("utf-16-le"))
    text("hexadecimal.csv", "time,CH1", *["0.00%d,0x1%d" % (i, i) for i in range(4)], "0.004,12", *["0.00%d,12" % i for i in range(5, 9)])
    text("too-many-digits.csv", *ROWS[:2], "0.002," + "1" * 600 + ",30.5", ROWS[3])
    text("number-too-large.csv", *ROWS[:2], "0.002,1e999,30.5", ROWS[3])
    text("two-signs.csv", *ROWS[:2], "0.002,--3,30.5", ROWS[3])
    text("two-points.csv", *ROWS[:2], "0.002,3.1.4,30.5", ROWS[3])
    text("second-header.csv", "time,CH1", *["%.3f,1" % (i / 1000) for i in range(5)], "time,CH1", "0.005,1")
    text("two-thousand-columns.csv", *[",".join(["1"] * 2000)] * 3)
    text("xml.xml", '<?xml version="1.0"?>', "<trace><s>1</s></trace>")
    text("page.html", "<!DOCTYPE html>", "<p>1,2</p>")
    text("object.json", "{", '"samples": [1, 2, 3]', "}")


def bad_binary():
    raw("archive.zip", b"PK\x03\x04" + bytes(60))
    raw("compressed.gz", b"\x1f\x8b\x08\x00" + bytes(20))
    raw("picture.png", b"\x89PNG\r\n\x1a\n" + bytes(60))
    raw("random-bytes.bin", bytes((i * 197 + 89) % 256 for i in range(300)))
    data = wave_chunk(b"data", SAMPLES)
    raw("wave-header-cut.wav", wave(wave_format(), data)[:10])
    raw("wave-format-cut.wav", wave(wave_format(), data)[:30])
    raw("wave-samples-cut.wav", wave(wave_format(), data)[:-3])
    raw("wave-without-samples.wav", wave(wave_format()))
    raw("wave-samples-empty.wav", wave(wave_format(), wave_chunk(b"data", b"")))
    raw("wave-last-sample-cut.wav", wave(wave_format(), wave_chunk(b"data", SAMPLES[:7])))
    raw("wave-samples-before-format.wav", wave(data, wave_format()))
    raw("wave-not-wave.wav", wave(wave_format(), data, form=b"AVI "))
    raw("wave-format-too-short.wav", wave(wave_chunk(b"fmt ", bytes(14)), data))
    raw("wave-compressed.wav", wave(wave_format(tag=0x11), data))
    raw("wave-12-bits.wav", wave(wave_format(bits=12, block=2), data))
    raw("wave-no-channels.wav", wave(wave_format(channels=0), data))
    raw("wave-rate-nought.wav", wave(wave_format(rate=0), data))
    raw("wave-block-wrong.wav", wave(wave_format(block=3), data))
    raw("wave-extensible-too-short.wav", wave(extensible(24), data))
    raw("wave-extensible-strange.wav", wave(extensible(tail=bytes(14)), data))
    raw("wave-extensible-compressed.wav", wave(extensible(tag=0x55), data))
    ds64 = wave_chunk(b"ds64", struct.pack("<QQQI", 5 << 30, 5 << 30, 1 << 30, 0))
    wide = bytearray(wave(ds64, wave_format(), data, ident=b"RF64"))
    wide[-12:-8] = b"\xff\xff\xff\xff"
    raw("wave-five-gigabytes-promised.wav", bytes(wide))
    doubles = struct.pack("<3d", 1.5, -2, 0.1)
    raw("npy-header-cut.npy", npy(literal(), doubles, cut=60))
    raw("npy-numbers-cut.npy", npy(literal(), doubles[:-1]))
    raw("npy-bytes-behind.npy", npy(literal(), doubles + b"\0"))
    raw("npy-objects.npy", npy(literal("'|O'"), doubles))
    raw("npy-fields.npy", npy(literal("[('a', '<f8')]"), doubles))
    raw("npy-complex.npy", npy(literal("'<c16'"), doubles))
    raw("npy-strings.npy", npy(literal("'<U8'"), doubles))
    raw("npy-three-dimensions.npy", npy(literal(shape="(1, 3, 1)"), doubles))
    raw("npy-empty.npy", npy(literal(shape="(0,)")))
    raw("npy-too-large.npy", npy(literal(shape="(9999999999, 9999999999)"), doubles))
    raw("npy-version-9.npy", npy(literal(), doubles, major=9))
    raw("npy-header-damaged.npy", npy("{'descr': '<f8', 'fortran_order': Maybe, 'shape': (3,), }", doubles))
    raw("npy-without-rate.npy", npy(literal(), doubles))


CODES = [(150, 100), (-225, 200), (300, 305), (50, 10)]  # hundredths of a volt, tenths of an ampere


def comtrade_config(kind, year=2013, rows=4, counts="2,2A,0D", rate="1000", **lines):
    """The lines of a configuration; `lines` replaces some of them by number, from 1, as l5=..."""
    tail = ",1,1,P" if year > 1991 else ""
    out = ["bench,recorder," + str(year), counts, "1,CH1,,,V,%s,0,0,-32767,32767%s" % ("1" if kind == "FLOAT32" else "0.01", tail),
           "2,CH2,,,A,%s,0,0,-32767,32767%s" % ("1" if kind == "FLOAT32" else "0.1", tail), "50", "1", "%s,%d" % (rate, rows),
           "31/01/2025,12:00:00.000000" if year > 1991 else "01/31/91,12:00:00.000000"] + [
           "31/01/2025,12:00:00.000000" if year > 1991 else "01/31/91,12:00:00.000000", kind] + (["1"] if year > 1991 else []) + (
           ["0,0", "0,0"] if year == 2013 else [])
    for key, value in lines.items():
        out[int(key[1:]) - 1] = value
    return [line for line in out if line is not None]


def comtrade_rows(kind):
    if kind == "ASCII":
        return b"".join(b"%d,%d,%d,%d\r\n" % (i + 1, 1000 * i, a, b) for i, (a, b) in enumerate(CODES))
    form = {"BINARY": "<II2h", "BINARY32": "<II2i", "FLOAT32": "<II2f"}[kind]
    if kind == "FLOAT32":
        return b"".join(struct.pack(form, i + 1, 1000 * i, a / 100, b / 10) for i, (a, b) in enumerate(CODES))
    return b"".join(struct.pack(form, i + 1, 1000 * i, a, b) for i, (a, b) in enumerate(CODES))


def comtrade_file(kind, config=None, rows=None, heading=None):
    config = comtrade_config(kind) if config is None else config
    rows = comtrade_rows(kind) if rows is None else rows
    heading = kind + ("" if kind == "ASCII" else ": %d" % len(rows)) if heading is None else heading
    return ("--- file type: CFG ---\r\n" + "\r\n".join(config) + "\r\n--- file type: INF ---\r\n\r\n--- file type: HDR ---\r\n\r\n"
            "--- file type: DAT " + heading + " ---\r\n").encode() + rows


def comtrade_pair(name, kind, year, folder=GOOD, **lines):
    text(name + ".cfg", *comtrade_config(kind, year, **lines), end="\r\n", folder=folder)
    raw(name + ".dat", comtrade_rows(kind), folder=folder)


def npz(deflated=False, damage=None, **arrays):
    """An archive as numpy.savez writes it, every date the same so that the bytes are. `arrays`: the bytes of each member."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED if deflated else zipfile.ZIP_STORED) as archive:
        for name, data in arrays.items():
            info = zipfile.ZipInfo(name.replace("__", "."), (1980, 1, 1, 0, 0, 0))
            info.compress_type = zipfile.ZIP_DEFLATED if deflated else zipfile.ZIP_STORED
            archive.writestr(info, data)
    data = bytearray(out.getvalue())
    if damage == "promise":  # the size after unpacking, in both places
        for at in (data.find(b"PK\x03\x04") + 22, data.find(b"PK\x01\x02") + 24):
            data[at:at + 4] = struct.pack("<I", 1 << 30)
    elif damage == "bytes":
        data[190] ^= 0xFF
    return bytes(data[:-30] if damage == "cut" else data)


def column(*values):
    return npy(literal(shape="(%d,)" % len(values)), struct.pack("<%dd" % len(values), *values))


def bad_newer():
    time, signal = column(0.0, 0.001, 0.002, 0.003), column(1.5, -2.25, 3.0, 0.5)
    raw("npz-cut.npz", npz(damage="cut", time__npy=time, CH1__npy=signal))
    raw("npz-byte-changed.npz", npz(damage="bytes", time__npy=time, CH1__npy=signal))
    raw("npz-lengths-differ.npz", npz(time__npy=time, CH1__npy=column(1.5, 2.5)))
    raw("npz-objects.npz", npz(time__npy=time, CH1__npy=npy(literal("'|O'", "(4,)"), b"\0" * 32)))
    raw("npz-without-time.npz", npz(CH1__npy=signal, CH2__npy=signal))
    raw("npz-with-a-text.npz", npz(CH1__npy=signal, notes__txt=b"bench"))
    raw("npz-no-array-in-it.npz", npz(CH1__npy=b"1.5 -2.25", time__npy=time))
    raw("npz-promises-too-much.npz", npz(True, "promise", CH1__npy=signal))
    raw("npz-time-goes-back.npz", npz(time__npy=column(0.0, 0.002, 0.001, 0.003), CH1__npy=signal))
    text("date-changes-without-midnight.csv", "Time,CH1", "2026-01-30 10:00:00.000,1.5", "2026-01-31 10:00:00.001,-2.25", "2026-01-31 10:00:00.002,3")
    text("time-of-day-without-seconds.csv", "Time,CH1", "10:00,1.5", "10:01,-2.25", "10:02,3")
    text("edges-too-far-apart.csv", "time [s],A", "0,0", "0.000000001,1", "3600.5,0")


def good():
    comtrade_pair("comtrade-two-files", "ASCII", 1999)
    comtrade_pair("comtrade-1991-binary", "BINARY", 1991, l1="bench,recorder")
    for kind in ("ASCII", "BINARY", "BINARY32", "FLOAT32"):
        raw("comtrade-%s.cff" % kind.lower(), comtrade_file(kind), folder=GOOD)
    text("comma.csv", "time,CH1,CH2", "s,V,A", *ROWS, folder=GOOD)
    text("semicolon-decimal-comma-crlf.csv", "Zeit (ms);Spannung (V);Strom (A)", "0,0;1,5;10", "1,0;-2,25;20", "2,0;3;30,5", "3,0;0,5;1",
         end="\r\n", folder=GOOD, encoding="utf-8-sig")
    text("tab-preamble-cr.txt", "Recorder\tbench", "Channels\t2", "", "t/us\tU/mV\tI/mA", "0\t1500\t10000", "1000\t-2250\t20000", "2000\t3000\t30500",
         "3000\t500\t1000", end="\r", folder=GOOD)
    text("blanks-comments.txt", "# bench, left bank", "# time CH1 CH2", "  0.000E+0   1.50E+0  1.000E+1", "  1.000E-3  -2.25E+0  2.000E+1", "% paused",
         "  2.000E-3   3.00E+0  3.050E+1", "  3.000E-3   5.00E-1  1.000E+0", folder=GOOD)
    text("utf16.csv", "time;CH1 (\u00b5V);CH2", *[r.replace(",", ";") for r in ROWS], end="\r\n", folder=GOOD, encoding="utf-16")
    text("interval-in-preamble.csv", '"Sample interval","1.0E-03","s"', "CH1,CH2", *[r.split(",", 1)[1] for r in ROWS], folder=GOOD)
    values = struct.pack("<8h", 1500, 10000, -2250, 20000, 3000, 30500, 500, 1000)
    raw("two-channels-16-bit.wav", wave(wave_format(channels=2, rate=1000), wave_chunk(b"data", values)), folder=GOOD)
    doubles = struct.pack(">12d", *[float(c) for r in ROWS for c in r.split(",")])
    text("times-of-day.csv", "Time,CH1 (V),CH2 (A)", *["00:00:0" + r for r in ROWS], folder=GOOD)
    text("dates-day-first.csv", "Date;Time;CH1 (V);CH2 (A)", *["31.01.2026;00:00:0" + r.replace(",", ";").replace(".", ",") for r in ROWS], folder=GOOD)
    text("dates-iso-8601.csv", "Recorded 2026-01-31 09:00:00", "Timestamp,CH1 (V),CH2 (A)", *["2026-01-31T00:00:0%sZ,%s" % tuple(r.split(",", 1)) for r in ROWS],
         folder=GOOD)
    raw("archive-stored.npz", npz(time__npy=column(0.0, 0.001, 0.002, 0.003), CH1__npy=column(1.5, -2.25, 3.0, 0.5), CH2__npy=column(10.0, 20.0, 30.5, 1.0)),
        folder=GOOD)
    raw("archive-deflated.npz", npz(True, time__npy=column(0.0, 0.001, 0.002, 0.003), CH1__npy=column(1.5, -2.25, 3.0, 0.5),
                                    CH2__npy=column(10.0, 20.0, 30.5, 1.0)), folder=GOOD)
    raw("archive-units-in-names.npz", npz(**{"time_ms__npy": column(0.0, 1.0, 2.0, 3.0), "CH1 [V]__npy": column(1.5, -2.25, 3.0, 0.5),
                                             "CH2 [A]__npy": column(10.0, 20.0, 30.5, 1.0), "trial__npy": npy(literal(shape="()"), struct.pack("<d", 7.0))}),
        folder=GOOD)
    raw("archive-rate-as-a-number.npz", npz(sample_rate__npy=npy(literal(shape="()"), struct.pack("<d", 1000.0)), CH1__npy=column(1.5, -2.25, 3.0, 0.5),
                                            CH2__npy=column(10.0, 20.0, 30.5, 1.0)), folder=GOOD)
    raw("time-and-two-columns-big-endian.npy", npy(literal("'>f8'", "(4, 3)"), doubles, major=2), folder=GOOD)


if __name__ == "__main__":
    for folder in (BAD, GOOD):
        folder.mkdir(parents=True, exist_ok=True)
    bad_text()
    bad_binary()
    bad_newer()
    good()
