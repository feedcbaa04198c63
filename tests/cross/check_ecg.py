#!/usr/bin/python3
"""Odd beats of SciPy's electrocardiogram: Plumbline against a detector written here with SciPy.

    check_ecg.py PLUMB

Learned from windows of normal beats of 20 to 40 s and 260 to 280 s, one capture a window (`--cycle once`), then every
other beat is judged. The detector: R peaks by scipy.signal.find_peaks on the band-passed trace; the correlation of the
trace around each peak with the median beat has two heaps, near 0.45 and near 0.97, and a beat is odd left of the valley
between them. F1 at least 0.9 over the two stretches; counts are printed for others. Ends 77 (skipped) where SciPy or its
electrocardiogram is not to be had.
"""
import io
import json
import os
import subprocess
import sys
import tempfile
import zipfile

try:
    import numpy as np
    import scipy.misc
    import scipy.signal
    path = os.path.join(os.path.dirname(scipy.misc.__file__), "ecg.dat")
    archive = zipfile.ZipFile(path)
except (ImportError, OSError) as missing:
    print(f"skipped: {missing}")
    sys.exit(77)

RATE = 360
with archive:
    codes = np.load(io.BytesIO(archive.read(archive.namelist()[0])))
TRACE = (codes.astype(float) - 1024) / 200
BEFORE, AFTER = round(0.22 * RATE), round(0.32 * RATE)


def peaks_of(x):
    sos = scipy.signal.butter(2, [5, 30], "bandpass", fs=RATE, output="sos")
    y = scipy.signal.sosfiltfilt(sos, x)
    at, _ = scipy.signal.find_peaks(np.abs(y), height=0.35 * np.quantile(np.abs(y), 0.995), distance=round(0.3 * RATE))
    return at[(at > BEFORE + 30) & (at < x.size - AFTER - 30)]


def flatten(x):
    """Without the wandering base line, which is no matter of a beat's shape."""
    return scipy.signal.sosfiltfilt(scipy.signal.butter(2, 0.7, "highpass", fs=RATE, output="sos"), x)


FLAT = flatten(TRACE)
PEAKS = peaks_of(TRACE)
WINDOWS = np.array([FLAT[p - BEFORE:p + AFTER] for p in PEAKS])
MEDIAN = np.median(WINDOWS, axis=0)


def best_correlation(p):
    """Over shifts of up to 40 ms: a broad beat's peak lies elsewhere in its wave."""
    shifts = range(-14, 15, 2)
    return max(np.corrcoef(FLAT[p + s - BEFORE:p + s + AFTER], MEDIAN)[0, 1] for s in shifts)


CORRELATION = np.array([best_correlation(p) for p in PEAKS])
COUNTS, EDGES = np.histogram(CORRELATION, bins=20, range=(0, 1))
SMOOTH = np.convolve(COUNTS, [1, 1, 1], "same")
HEAP = np.argmax(SMOOTH[:14])  # the lower heap; the valley lies between it and 1
VALLEY = EDGES[HEAP + np.argmin(SMOOTH[HEAP:]) + 1]
ODD = CORRELATION < VALLEY


def write_beat(folder, index):
    """As a user would cut it: by the peak, the same length for each."""
    name = os.path.join(folder, f"beat-{index:04d}.csv")
    x = TRACE[PEAKS[index] - BEFORE:PEAKS[index] + AFTER]
    x = x - np.median(x)
    with open(name, "w") as f:
        f.write("time [s],heart [mV]\n")
        for i, v in enumerate(x):
            f.write(f"{i / RATE:.6f},{v:.3f}\n")
    return name


def in_stretch(start, end):
    return [i for i, p in enumerate(PEAKS) if start * RATE <= p < end * RATE]


def judge(plumb, reference, files):
    run = subprocess.run([plumb, "compare", "--json", "--reference", reference, *files], capture_output=True, text=True)
    lines = [json.loads(line) for line in run.stdout.splitlines() if line.startswith("{")]
    if len(lines) != len(files):
        raise RuntimeError(f"{len(lines)} verdicts for {len(files)} beats: {run.stderr[:300]}")
    return np.array([v["verdict"] != "agrees" for v in lines]), np.array([v["verdict"] == "departs" for v in lines])


def main():
    plumb = sys.argv[1]
    with tempfile.TemporaryDirectory() as folder:
        stretches = [(20, 40), (260, 280)]
        taught = [i for s in stretches for i in in_stretch(*s) if not ODD[i]]
        files = {i: write_beat(folder, i) for i in range(len(PEAKS))}
        # every second normal beat teaches, the others are judged with the odd ones
        learn = taught[::2]
        reference = os.path.join(folder, "heart.xml")
        subprocess.run([plumb, "learn", "--type", "heart", "--name", "beat/normal", "--cycle", "once", "-o", reference,
                        *[files[i] for i in learn]], check=True, capture_output=True)
        print(f"odd: correlation with the median beat below {VALLEY:.2f}")
        total = np.zeros(3, dtype=int)
        for start, end in [*stretches, (0, 20), (60, 80), (120, 140), (180, 200), (240, 260), (280, 300)]:
            beats = [i for i in in_stretch(start, end) if i not in learn]
            said, departs = judge(plumb, reference, [files[i] for i in beats])
            truth = ODD[beats]
            for word, seen in (("departs", departs), ("departs or doubtful", said)):
                counts = np.array([(seen & truth).sum(), (seen & ~truth).sum(), (~seen & truth).sum()])
                print(f"{start:3d} to {end:3d} s: {len(beats)} beats, {truth.sum()} odd; {word}: {counts[0]} right, "
                      f"{counts[1]} wrong, {counts[2]} missed")
                total += counts * ((start, end) in stretches and word == "departs")
        hit, wrong, lost = total
        f1 = 2 * hit / max(2 * hit + wrong + lost, 1)
        print(f"20 to 40 s and 260 to 280 s: {hit} right, {wrong} wrong, {lost} missed, F1 {f1:.3f}")
        passed, failed = int(f1 >= 0.9), int(not f1 >= 0.9)
    print(f"{passed} passed, {failed} failed")
    return failed > 0


sys.exit(main())
