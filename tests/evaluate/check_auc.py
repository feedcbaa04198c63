#!/usr/bin/python3
"""Short curves, learned from good ones only: does the score rank faulty above good better than plain distances do?

    check_auc.py PLUMB DRAW_MODEL

Each set is one family of single events, modelled: 12 good curves to learn from, 16 other good ones, and 24 faulty ones
(all faults of the circuit in turn, at low severity), each averaged to 128 points as users bring them. AUC: the share of
pairs of a faulty and a good curve that the score ranks rightly (ties half). The baselines are restated here in NumPy:
nearest good curve by Euclidean and by absolute distance, the same with the best shift of up to 10 %, and one good range
(RMS of the deviation in standard deviations, floored). The score must beat the nearest Euclidean neighbour by a margin.
Ends 77 (skipped) where NumPy is missing.
"""
import json
import os
import subprocess
import sys
import tempfile

try:
    import numpy as np
except ImportError as missing:
    print(f"skipped: {missing}")
    sys.exit(77)

# family, column and severity of its faults: low enough that good and faulty overlap
SETS = [("air-mass-voltage", 1, 0.3), ("boost-pressure", 1, 0.3), ("egr-position", 1, 0.3), ("charging-voltage", 1, 0.3),
        ("glow-plug-current", 1, 0.3), ("voltage-drop-supply", 1, 0.3), ("battery-cranking", 1, 0.3),
        ("oxygen-wide", 1, 0.3)]
POINTS, TAUGHT, GOOD, FAULTY, MARGIN = 128, 12, 16, 24, 0.02


def faults_of(draw_model, family):
    """Faults of the circuit: what stands before the measuring mistakes in the list."""
    names, inside = [], False
    for line in subprocess.run([draw_model], capture_output=True, text=True, check=True).stdout.splitlines():
        if not line.startswith(" "):
            inside = line.startswith(family + " (")
        elif inside and ", not to be seen here" not in line:
            names.append(line.strip())
    mistakes = {"lead-inverted", "attenuator-forgotten", "clamp-zero", "clamp-direction", "ac-coupled", "alias", "floating",
                "hum", "pick-up", "far-ground"}
    return [n for n in names if n not in mistakes]


def draw(draw_model, column, *arguments):
    run = subprocess.run([draw_model, *map(str, arguments)], capture_output=True, text=True, check=True)
    x = np.array([float(line.split(",")[column]) for line in run.stdout.splitlines()[1:]])
    edges = np.linspace(0, x.size, POINTS + 1).astype(int)
    total = np.concatenate([[0], np.cumsum(x)])
    return (total[edges[1:]] - total[edges[:-1]]) / np.diff(edges)


def auc(faulty, good):
    return np.mean([(f > good).mean() + 0.5 * (f == good).mean() for f in faulty])


def nearest(x, taught, power):
    return np.min((np.abs(taught - x) ** power).sum(axis=1))


def nearest_shifted(x, taught):
    most = POINTS // 10
    return min(np.abs(taught[:, max(s, 0):POINTS + min(s, 0)] - x[max(-s, 0):POINTS - max(s, 0)]).mean(axis=1).min()
               for s in range(-most, most + 1))


def good_range(x, taught):
    spread = taught.std(axis=0, ddof=1)
    return np.sqrt((((x - taught.mean(axis=0)) / np.maximum(spread, 0.005 * np.ptp(taught))) ** 2).mean())


def write(folder, name, x):
    path = os.path.join(folder, name)
    with open(path, "w") as f:
        f.write("time [s],signal [V]\n" + "".join(f"{i * 0.01:.2f},{v:.6g}\n" for i, v in enumerate(x)))
    return path


def scores(plumb, folder, taught, judged):
    reference = os.path.join(folder, "known-good.xml")
    files = [write(folder, f"good-{i}.csv", x) for i, x in enumerate(taught)]
    subprocess.run([plumb, "learn", "--type", "short-curve", "--name", "auc/set", "--cycle", "once", "-o", reference, *files],
                   check=True, capture_output=True)
    run = subprocess.run([plumb, "compare", "--json", "--reference", reference,
                          *[write(folder, f"judged-{i}.csv", x) for i, x in enumerate(judged)]], capture_output=True, text=True)
    score = [json.loads(line)["score"] for line in run.stdout.splitlines() if line.startswith("{")]
    if len(score) != len(judged):
        raise RuntimeError(f"{len(score)} scores for {len(judged)} curves: {run.stderr[:300]}")
    return np.array([np.inf if s is None else s for s in score])


def main():
    plumb, draw_model = sys.argv[1:3]
    rows = []
    print(f"{'set (modelled)':24s} {'severity':>8s} {'Euclid':>7s} {'absol.':>7s} {'shifted':>7s} {'range':>7s} {'score':>7s}")
    for family, column, severity in SETS:
        faults = faults_of(draw_model, family)
        taught = np.array([draw(draw_model, column, family, 100 + i) for i in range(TAUGHT)])
        good = [draw(draw_model, column, family, 500 + i) for i in range(GOOD)]
        faulty = [draw(draw_model, column, family, 900 + i, faults[i % len(faults)], severity) for i in range(FAULTY)]
        judged = [*good, *faulty]
        with tempfile.TemporaryDirectory() as folder:
            ours = scores(plumb, folder, taught, judged)
        lists = [np.array([rule(x) for x in judged]) for rule in (
            lambda x: nearest(x, taught, 2), lambda x: nearest(x, taught, 1), lambda x: nearest_shifted(x, taught),
            lambda x: good_range(x, taught))] + [ours]
        rows.append([auc(d[GOOD:], d[:GOOD]) for d in lists])
        print(f"{family:24s} {severity:8.2f} " + " ".join(f"{a:7.3f}" for a in rows[-1]))
    mean = np.mean(rows, axis=0)
    print(f"{'mean':24s} {'':8s} " + " ".join(f"{a:7.3f}" for a in mean))
    better = mean[4] >= mean[0] + MARGIN
    if not better:
        print(f"FAILED: the score's {mean[4]:.3f} is not {MARGIN} above the nearest neighbour's {mean[0]:.3f}")
    print(f"{int(better)} passed, {int(not better)} failed")
    return not better


sys.exit(main())
