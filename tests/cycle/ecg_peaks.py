"""Write the electrocardiogram that SciPy carries as raw doubles [mV], 360 Hz, and print find_peaks' count for every 20 s window."""
import io
import os
import sys
import zipfile

import numpy
import scipy.misc
import scipy.signal

RATE_HZ = 360
with zipfile.ZipFile(os.path.join(os.path.dirname(scipy.misc.__file__), "ecg.dat")) as archive:
    codes = numpy.load(io.BytesIO(archive.read(archive.namelist()[0])))
trace = (codes.astype(float) - 1024) / 200
trace.tofile(sys.argv[1])
for start in range(0, len(trace) // RATE_HZ, 20):
    window = trace[start * RATE_HZ : (start + 20) * RATE_HZ]
    peaks, _ = scipy.signal.find_peaks(window, prominence=0.8, distance=round(0.33 * RATE_HZ))
    print(len(peaks))
