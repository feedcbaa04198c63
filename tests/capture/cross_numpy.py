#!/usr/bin/python3
"""Read the same files with libplumbline and with NumPy, pandas and SciPy: the same numbers, bit for bit.

usage: cross_numpy.py LIBRARY        LIBRARY is libplumbline.so; exits 77 (skipped) where the Python packages are missing
"""
import ctypes
import os
import pathlib
import struct
import sys
import tempfile
import wave

try:
    import numpy as np
    import pandas
    import scipy.io.wavfile
except ImportError as missing:
    print("skipped:", missing)
    sys.exit(77)


class Options(ctypes.Structure):
    _fields_ = [("version", ctypes.c_uint), ("rate_hz", ctypes.c_double), ("most_bytes", ctypes.c_size_t)]


class Error(ctypes.Structure):
    _fields_ = [("status", ctypes.c_int), ("path", ctypes.c_char * 1024), ("line", ctypes.c_int64), ("column", ctypes.c_int64),
                ("byte", ctypes.c_int64), ("message", ctypes.c_char * 512)]


LIBRARY = ctypes.CDLL(sys.argv[1])
for function, result, arguments in (
        ("plb_capture_read", ctypes.c_int, [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_void_p, ctypes.c_void_p]),
        ("plb_capture_free", None, [ctypes.c_void_p]),
        ("plb_capture_samples", ctypes.c_size_t, [ctypes.c_void_p]),
        ("plb_capture_channels", ctypes.c_size_t, [ctypes.c_void_p]),
        ("plb_capture_rate_hz", ctypes.c_double, [ctypes.c_void_p]),
        ("plb_capture_values", None, [ctypes.c_void_p, ctypes.c_size_t, ctypes.c_size_t, ctypes.c_size_t, ctypes.c_void_p])):
    getattr(LIBRARY, function).restype = result
    getattr(LIBRARY, function).argtypes = arguments


def read(path, rate_hz=0.0):
    """@return the rate and an array of channels x samples"""
    handle, error = ctypes.c_void_p(), Error()
    options = Options(1, rate_hz, 0)
    status = LIBRARY.plb_capture_read(ctypes.byref(handle), os.fsencode(str(path)), ctypes.byref(options), ctypes.byref(error))
    assert status == 0, (path, error.line, error.message.decode())
    count, channels = LIBRARY.plb_capture_samples(handle), LIBRARY.plb_capture_channels(handle)
    values = np.empty((channels, count))
    for i in range(channels):
        LIBRARY.plb_capture_values(handle, i, 0, count, values[i].ctypes.data)
    rate = LIBRARY.plb_capture_rate_hz(handle)
    LIBRARY.plb_capture_free(handle)
    return rate, values


def same(name, got, expected):
    """The same bits; not a number equals itself; minus nought reads as nought."""
    expected = np.ascontiguousarray(np.asarray(expected, dtype=np.float64)) + 0.0
    assert got.shape == expected.shape, (name, got.shape, expected.shape)
    wrong = (got.view(np.uint64) != expected.view(np.uint64)) & ~(np.isnan(got) & np.isnan(expected))
    assert not wrong.any(), (name, int(wrong.sum()), got[wrong][:3], expected[wrong][:3])
    print("same:", name, got.shape)


FORMATS = {
    "fixed": "%.6f", "seven digits": "%.6e", "short": "%.7g", "whole": "%.0f", "full": "%.17g", "twelve": "%.12e", "nine": "%.9f",
}


def check_text(folder):
    random = np.random.default_rng(1)
    count = 5000
    for name, form in FORMATS.items():
        for separator, mark in ((",", "."), (";", ","), ("\t", "."), (" ", "."), ("\t", ",")):
            columns = [random.normal(0, 10.0 ** random.integers(-3, 7), count) for _ in range(4)]
            rows = ["%.7f" % (i * 2.5e-6) + separator + separator.join(form % c[i] for c in columns) for i in range(count)]
            path = folder / "table.txt"
            path.write_text("\n".join(rows).replace(".", mark) + "\n")
            rate, got = read(path)
            assert rate == 400000.0, (name, rate)
            if mark == ".":
                expected = np.loadtxt(path, delimiter=None if separator == " " else separator)
            else:
                expected = pandas.read_csv(path, sep=separator, decimal=mark, header=None, float_precision="round_trip").to_numpy()
            same("text, %s, separator %r, mark %r" % (name, separator, mark), got, expected[:, 1:].T)


def check_missing(folder):
    path = folder / "missing.csv"
    path.write_text("time,a,b\n" + "".join("%d,%s,%s\n" % (i, "" if i % 7 == 3 else i / 8, "nan" if i % 5 == 1 else i * 1e-3) for i in range(400)))
    same("missing cells", read(path)[1], pandas.read_csv(path, float_precision="round_trip").to_numpy()[:, 1:].T)


def check_wave(folder):
    random = np.random.default_rng(2)
    path = folder / "samples.wav"
    for dtype in (np.uint8, np.int16, np.int32, np.float32, np.float64):
        for channels in (1, 3):
            if np.issubdtype(dtype, np.integer):
                limits = np.iinfo(dtype)
                samples = random.integers(limits.min, limits.max, (1000, channels), dtype=dtype, endpoint=True)
                samples[:2] = [[limits.min], [limits.max]]
            else:
                samples = random.normal(0, 2, (1000, channels)).astype(dtype)
            scipy.io.wavfile.write(path, 44100, samples)
            rate, got = read(path)
            assert rate == 44100.0
            expected = scipy.io.wavfile.read(path)[1].reshape(1000, channels).astype(np.float64)
            if dtype == np.uint8:
                expected = (expected - 128) / 128
            elif np.issubdtype(dtype, np.integer):
                expected = expected / -float(limits.min)
            same("WAVE %s, %d channels" % (np.dtype(dtype), channels), got, expected.T)
    codes = np.concatenate(([-(1 << 23), (1 << 23) - 1, -1, 0, 1], random.integers(-(1 << 23), 1 << 23, 1000)))
    with wave.open(str(path), "wb") as out:
        out.setparams((1, 3, 96000, len(codes), "NONE", ""))
        out.writeframes(b"".join(struct.pack("<i", c)[:3] for c in codes.tolist()))
    expected = scipy.io.wavfile.read(path)[1].astype(np.float64) / 2.0 ** 31  # left-justified in 32 bits
    same("WAVE 24 bits", read(path)[1], expected[None, :])


def check_npy(folder):
    random = np.random.default_rng(3)
    path = folder / "array.npy"
    for code in ("i1", "u1", "?", "i2", "u2", "i4", "u4", "i8", "u8", "f2", "f4", "f8"):
        for order in "<>":
            for shape in ((500,), (500, 3), (3, 500)):
                for fortran in (False, True):
                    for version in ((1, 0), (2, 0), (3, 0)):
                        dtype = np.dtype(order + code)
                        if dtype.kind in "iu":
                            limits = np.iinfo(dtype)
                            array = random.integers(limits.min, limits.max, shape, dtype=dtype.newbyteorder("="), endpoint=True)
                        else:
                            array = random.normal(0, 3, shape)
                        array = np.asarray(array.astype(dtype), order="F" if fortran else "C")
                        with open(path, "wb") as out:
                            np.lib.format.write_array(out, array, version=version)
                        expected = np.load(path).astype(np.float64)
                        expected = expected.T if shape == (500, 3) else expected.reshape(-1, 500)
                        got = read(path, 1000.0)[1]
                        wrong = got.shape != expected.shape or not np.array_equal(got, expected)
                        assert not wrong, (code, order, shape, fortran, version)
    print("same: .npy, 12 types, 2 byte orders, 3 shapes, C and Fortran order, versions 1 to 3")


def check_npz(folder):
    random = np.random.default_rng(4)
    path = folder / "arrays.npz"
    time = np.arange(5000) * 2.5e-6 + 0.125
    for save in (np.savez, np.savez_compressed):
        arrays = {code: random.integers(-100, 100, 5000).astype(code) if code[0] == "i" else random.normal(0, 3, 5000).astype(code)
                  for code in ("i2", "i8", "f4", "f8")}
        save(path, t=time, **arrays)
        rate, got = read(path)
        assert rate == 400000.0, rate
        same(".npz, " + save.__name__, got, np.array([np.load(path)[name].astype(np.float64) for name in arrays]))
        save(path, np.column_stack([time, arrays["f8"], arrays["f4"]]))
        same(".npz of one array, " + save.__name__, read(path)[1], np.load(path)["arr_0"][:, 1:].T)
    save(path, a=arrays["f8"], b=arrays["f4"])
    same(".npz without a time", read(path, 1000.0)[1], np.array([arrays["f8"], arrays["f4"].astype(np.float64)]))


def check_edges(folder):
    """A list of edges, held by NumPy's searchsorted."""
    random = np.random.default_rng(5)
    path = folder / "edges.csv"
    at = np.unique(np.concatenate(([0], random.integers(1, 400000, 300))))
    states = random.integers(0, 2, (2, len(at)))
    path.write_text("time [s],A,B\n" + "".join("%.6f,%d,%d\n" % (a * 1e-6, *states[:, i]) for i, a in enumerate(at)))
    rate, got = read(path)
    step = np.gcd.reduce(at)
    finer = round(rate * step / 1e6)  # a whole number of samples to the common measure, 16 or more to the shortest state
    assert rate == 1e6 / step * finer and 16 <= np.diff(at).min() / step * finer < 32, (rate, step)
    counted = np.arange(0, at[-1] * finer // step + 1)
    same("a list of edges", got, states[:, np.searchsorted(at * finer, counted * step, side="right") - 1])


def check_engine():
    root = pathlib.Path(os.environ.get("PLUMBLINE_TEST_DATA", pathlib.Path(__file__).resolve().parents[3] / "shared" / "data"))
    files = sorted((root / "engine").glob("setup-*/*.txt"))
    if not files:
        print("skipped: the real captures are not here (PLUMBLINE_TEST_DATA)")
    for path in files[::6]:
        rate, got = read(path)
        assert rate == 100000.0
        same(path.name, got, np.loadtxt(path)[:, 1:].T)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        work = pathlib.Path(name)
        check_text(work)
        check_missing(work)
        check_wave(work)
        check_npy(work)
        check_npz(work)
        check_edges(work)
    check_engine()
