"""Count pulses and whole turns of a 60-2 wheel in captures (tab-separated: time, crank, pressure), with NumPy alone.

A pulse is a rise from below 1.3 V to above 3 V; the gap is a pause of more than two and a half typical pitches. For each file: pulses, gaps,
whole turns from gap to gap, fewest and most pulses between gaps."""
import sys

import numpy

for path in sys.argv[1:]:
    volts = numpy.fromfile(path, sep=" ").reshape(-1, 3)[:, 1]
    definite = numpy.flatnonzero((volts < 1.3) | (volts > 3.0))
    high = volts[definite] > 3.0
    rises = definite[1:][high[1:] & ~high[:-1]]
    pauses = numpy.diff(rises)
    if len(pauses) < 60:
        print(len(rises), 0, 0, 0, 0)
        continue
    pitch = numpy.array([numpy.median(pauses[max(0, i - 6) : i + 7]) for i in range(len(pauses))])
    gaps = numpy.flatnonzero(pauses > 2.5 * pitch)
    between = numpy.diff(gaps)
    print(len(rises), len(gaps), len(between), between.min(), between.max())
