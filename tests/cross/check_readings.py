#!/usr/bin/python3
"""Readings of modelled captures against NumPy and SciPy, restated here from their definitions.

    check_readings.py BIN       BIN: the folder with plumb and draw-model

Levels: means, RMS, extremes, crest. Pulses of switched signals: state levels by the histogram's modes and crossings of the middle level, linear
between samples (IEEE Std 181-2011, 2nd-hand), and SciPy's find_peaks for pulses as peaks. Tolerances stand beside each. Ends 77 (skipped) where
NumPy or SciPy is missing.
"""
import json
import os
import subprocess
import sys
import tempfile

try:
    import numpy as np
    import scipy.signal as sg
except ImportError as missing:
    print(f"skipped: {missing}; install python3-numpy and python3-scipy")
    sys.exit(77)

LEVELS = ["crank-inductive-60-2-idle", "crank-hall-idle", "cam-hall", "wheel-speed-inductive", "fuel-pump-current", "coil-primary-current",
          "oxygen-front", "manifold-pressure-idle", "alternator-ripple", "knock-idle"]
SWITCHED = [("crank-hall-idle", "crank"), ("wheel-speed-current", "wheel"), ("cam-hall", "cam"), ("air-mass-frequency", None), ("transmission-speed", None)]
PEAKS = ["starter-current", "cylinder-pressure-cranking"]
passed = failed = 0
folder = tempfile.mkdtemp()


def check(what, got, expected, tolerance):
    global passed, failed
    good = got is not None and abs(got - expected) <= tolerance
    passed, failed = passed + good, failed + (not good)
    if not good:
        print(f"FAILED {what}: {got}, NumPy {expected}, allowed {tolerance:.3g}")


def draw(family, seed):
    path = os.path.join(folder, "x.csv")
    with open(path, "w") as out:
        subprocess.run([os.path.join(sys.argv[1], "draw-model"), family, str(seed)], stdout=out, check=True)
    names = [c.split(" [")[0] for c in open(path).readline().strip().split(",")[1:]]
    table = np.genfromtxt(path, delimiter=",", skip_header=1)
    out = subprocess.run([os.path.join(sys.argv[1], "plumb"), "measure", path, "--json"], capture_output=True, text=True, check=True,
                         env=dict(os.environ, HOME=folder)).stdout
    readings = {}
    for r in json.loads(out)["readings"]:
        if r["scope"] == "capture" and not r["against"]:
            readings[r["channel"], r["name"]] = r
    return names, table[:, 0], table[:, 1:].T, readings


def levels(family):
    names, t, x, readings = draw(family, 11)
    for name, v in zip(names, x):
        value = {k[1]: r["value"] for k, r in readings.items() if k[0] == name}
        scale = np.max(np.abs(v))
        for what, expected in (("mean", v.mean()), ("true-rms", np.sqrt(np.mean(v ** 2))), ("ac-rms", v.std()), ("lowest", v.min()),
                               ("highest", v.max()), ("peak-to-peak", np.ptp(v))):
            check(f"{family} {name} {what}", value.get(what), expected, 1e-9 * scale)  # sums in another order
        if "crest-factor" in value:
            check(f"{family} {name} crest-factor", value["crest-factor"], scale / np.sqrt(np.mean(v ** 2)), 1e-9 * value["crest-factor"])


def states(v):
    """The modes of the two halves of a histogram of 100 bins."""
    count, edge = np.histogram(v, 100)
    used = np.flatnonzero(count)
    middle = (used[0] + used[-1]) // 2 + 1
    low, high = np.argmax(count[:middle]), middle + np.argmax(count[middle:])
    return 0.5 * (edge[low] + edge[low + 1]), 0.5 * (edge[high] + edge[high + 1])


def crossings(t, v, low, high):
    """Instants of the middle level, each between one state and the other (within a quarter of the step)."""
    middle, quarter = 0.5 * (low + high), 0.25 * (high - low)
    found, state = [], None
    for i in range(len(v)):
        now = True if v[i] > middle + quarter else False if v[i] < middle - quarter else None
        if now is None or now == state:
            continue
        if state is not None:
            k = i
            while (v[k - 1] > middle) == now:
                k -= 1
            found.append((t[k - 1] + (middle - v[k - 1]) / (v[k] - v[k - 1]) * (t[k] - t[k - 1]), now))
        state = now
    return found


def switched(family):
    names, t, x, readings = draw(family, 12)
    name, v = names[0], x[0]
    value = {k[1]: r["value"] for k, r in readings.items() if k[0] == name}
    low, high = states(v)
    bin_ = np.ptp(v) / 100
    check(f"{family} low-level", value.get("low-level"), low, 1.5 * bin_)  # half a bin, and noise that moves the mode by one
    check(f"{family} high-level", value.get("high-level"), high, 1.5 * bin_)
    edges = crossings(t, v, value["low-level"], value["high-level"])
    rises = np.array([at for at, up in edges if up])
    highs = np.array([b[0] - a[0] for a, b in zip(edges, edges[1:]) if a[1]])
    lows = np.array([b[0] - a[0] for a, b in zip(edges, edges[1:]) if not a[1]])
    step = t[1] - t[0]
    check(f"{family} pulse-high", value.get("pulse-high"), highs.mean(), 0.02 * step)
    check(f"{family} pulse-low", value.get("pulse-low"), lows.mean(), 0.02 * step)
    ends = family == "transmission-speed"  # no switch but a coil: which of its pulses an end cuts off is a matter of the threshold
    check(f"{family} pulse-count", value.get("pulse-count"), len(highs), ends)
    check(f"{family} period", value.get("period"), np.diff(rises).mean(), 0.02 * highs.mean())  # from rises or from falls
    n = min(len(highs), len(lows))
    share = [100 * np.mean(highs[i:n] / (highs[i:n] + lows[:n - i])) for i in (0, 1)]  # cycles that begin with a pulse, or with a pause
    check(f"{family} duty-high", value.get("duty-high"), min(share, key=lambda d: abs(d - value["duty-high"])), 0.05)
    tops = sg.find_peaks((v > 0.5 * (low + high)).astype(float), plateau_size=1)[0]  # SciPy: a pulse is a peak, flat on top
    check(f"{family} pulses as SciPy's peaks", value.get("pulse-count"), len(tops), ends)


def peaks(family):
    names, t, x, readings = draw(family, 13)
    v = x[0]
    smooth = sg.sosfiltfilt(sg.butter(2, 60, fs=1 / (t[1] - t[0]), output="sos"), v)
    at, _ = sg.find_peaks(smooth, prominence=0.4 * np.ptp(np.quantile(smooth, [0.02, 0.98])))
    period = np.median(np.diff(t[at]))
    got = readings.get((names[0], "period"), {}).get("value")
    check(f"{family} period as between SciPy's peaks", got, period, 0.05 * period)


for family in LEVELS:
    levels(family)
for family, _ in SWITCHED:
    switched(family)
for family in PEAKS:
    peaks(family)
print(f"{passed} passed, {failed} failed")
sys.exit(1 if failed else 0)
