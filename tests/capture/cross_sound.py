#!/usr/bin/python3
"""WAVE in every kind, written and read by libsndfile and SoX on the other side: the same numbers, rates and sizes.

usage: cross_sound.py LIBRARY PLUMB        exits 77 (skipped) where python3-soundfile or sox is missing
"""
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

try:
    import numpy as np
    import soundfile
except ImportError as missing:
    print("skipped:", missing)
    sys.exit(77)
if not shutil.which("sox"):
    print("skipped: sox is not installed")
    sys.exit(77)

sys.argv, PLUMB = sys.argv[:2], sys.argv[2]
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from cross_numpy import read, same  # noqa: E402

FULL = {"PCM_U8": 1 / 128, "PCM_16": 1 / 32768, "PCM_24": 1 / 8388608, "PCM_32": 1 / 2147483648}


def sox_says(path):
    """@return rate, channels, samples, bits"""
    return [int(subprocess.run(["sox", "--i", flag, path], check=True, capture_output=True, text=True).stdout) for flag in ("-r", "-c", "-s", "-b")]


def check_read(folder):
    random = np.random.default_rng(6)
    for form in ("WAV", "WAVEX", "RF64"):
        for kind in ("PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"):
            if not soundfile.check_format(form, kind):
                continue
            for channels in (1, 2, 5):
                path = str(folder / "in.wav")
                values = np.clip(random.normal(0, 0.4, (777, channels)), -1, 1 - 2.0 ** -7)
                soundfile.write(path, values, 48000, subtype=kind, format=form)
                rate, got = read(path)
                assert rate == 48000.0 == sox_says(path)[0], (form, kind, rate)
                same("%s %s of %d channels" % (form, kind, channels), got, soundfile.read(path, dtype="float64", always_2d=True)[0].T)


def check_sox(folder):
    for bits, encoding in ((8, "unsigned-integer"), (16, "signed-integer"), (24, "signed-integer"), (32, "signed-integer"), (32, "floating-point")):
        path = str(folder / "sox.wav")
        subprocess.run(["sox", "-n", "-r", "22050", "-b", str(bits), "-e", encoding, "-c", "2", path, "synth", "0.25", "sine", "440", "square", "55", "gain", "-3"],
                       check=True, capture_output=True)
        rate, got = read(path)
        assert [int(rate), got.shape[0], got.shape[1], bits] == sox_says(path), (rate, got.shape, sox_says(path))
        same("SoX, %d bits %s" % (bits, encoding), got, soundfile.read(path, dtype="float64", always_2d=True)[0].T)


def check_written(folder):
    """What plumb convert writes, libsndfile reads as the same values."""
    random = np.random.default_rng(8)
    for kind in ("PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"):
        first, again = str(folder / "first.wav"), str(folder / "again.wav")
        soundfile.write(first, np.clip(random.normal(0, 0.4, (501, 3)), -1, 1 - 2.0 ** -7), 8000, subtype=kind)
        said = subprocess.run([PLUMB, "convert", first, "-o", again], check=True, capture_output=True, text=True).stdout
        assert "bit for bit" in said, said
        same("written, " + kind, read(first)[1], soundfile.read(again, dtype="float64", always_2d=True)[0].T)
        assert sox_says(again)[:3] == [8000, 3, 501], sox_says(again)


with tempfile.TemporaryDirectory() as name:
    check_read(pathlib.Path(name))
    check_sox(pathlib.Path(name))
    check_written(pathlib.Path(name))
print("the same numbers as libsndfile and SoX")
