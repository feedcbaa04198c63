"""What convert writes, other programs read: NumPy for .npy, SciPy for WAVE, and the bytes of COMTRADE unpacked here.

usage: check_convert.py PLUMB
"""
import os
import struct
import subprocess
import sys
import tempfile

try:
    import numpy
    from scipy.io import wavfile
except ImportError:
    print("NumPy and SciPy are not installed: skipped")
    sys.exit(77)

N, RATE = 1000, 50000


def convert(plumb, source, target):
    subprocess.run([plumb, "convert", source, "-o", target], check=True, stdout=subprocess.DEVNULL, timeout=60)
    return target


def comtrade_rows(path):
    """IEEE C37.111: u32 number, u32 time [us], s16 for each channel, little-endian (layout FROM MEMORY)."""
    with open(path, "rb") as file:
        data = file.read()
    return list(struct.iter_unpack("<IIhh", data))


def main():
    plumb = sys.argv[1]
    random = numpy.random.default_rng(5)
    codes = random.integers(-32000, 32000, (N, 2))
    values = codes / 1000.0
    with tempfile.TemporaryDirectory() as folder:
        source = os.path.join(folder, "a.csv")
        with open(source, "w", encoding="ascii") as file:
            file.write('time (s),"x (V)","y (V)"\n')
            for i in range(N):
                file.write("%.6f,%.3f,%.3f\n" % (i / RATE, values[i, 0], values[i, 1]))
        table = numpy.load(convert(plumb, source, os.path.join(folder, "a.npy")))
        assert table.shape == (N, 3) and table.dtype == numpy.dtype("<f8"), table.shape
        assert numpy.array_equal(table[:, 1:], values)
        assert numpy.allclose(table[:, 0], numpy.arange(N) / RATE, rtol=0, atol=1e-15)
        rate, sound = wavfile.read(convert(plumb, source, os.path.join(folder, "a.wav")))
        assert rate == RATE and sound.dtype == numpy.float64 and numpy.array_equal(sound, values)
        convert(plumb, source, os.path.join(folder, "b.cfg"))
        rows = comtrade_rows(os.path.join(folder, "b.dat"))
        assert [r[0] for r in rows] == list(range(1, N + 1))
        assert [r[1] for r in rows] == [20 * i for i in range(N)]
        assert numpy.array_equal(numpy.array([r[2:] for r in rows]), codes)
    print("the same %d values from .npy, WAVE and COMTRADE" % (2 * N))


main()
