#!/usr/bin/python3
"""Zero, scale, invert, AC coupling, filters and the rated range, against SciPy and against plain arithmetic, through the command.

    check_conditioning.py BIN      BIN: the folder with plumb

SciPy's butter() in second-order sections with sosfiltfilt() is the zero-phase filter, butter(1, high) with lfilter() from rest the AC coupling.
Ends 77 (skipped) where NumPy or SciPy is missing.
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

RATE, N = 20000.0, 4000
passed = failed = 0
folder = tempfile.mkdtemp()
plumb = os.path.join(sys.argv[1], "plumb")
environment = dict(os.environ, HOME=folder, LC_ALL="C")


def check(what, good, detail=""):
    global passed, failed
    passed, failed = passed + bool(good), failed + (not good)
    if not good:
        print("FAILED", what, detail)


def run(*words):
    p = subprocess.run([plumb, *words], cwd=folder, env=environment, capture_output=True, text=True)
    return p.returncode, p.stdout, p.stderr


def values(*options, column=1, name="in.npy"):
    code, out, err = run("convert", name, "-o", "out.npy", "--channel", "a=2:V", "--channel", "b=3:V", *options)
    if code:
        raise SystemExit(f"plumb convert {options}: {code} {err}")
    return np.load(os.path.join(folder, "out.npy"))[:, column]


def near(what, got, expected, tolerance):
    off = np.max(np.abs(got - expected))
    check(what, off <= tolerance, f"off by {off:.3g}, allowed {tolerance:.3g}")


def filters(a):
    shapes = {"low-pass": ("lowpass", [1000.0]), "high-pass": ("highpass", [50.0]), "band-pass": ("bandpass", [300.0, 2500.0]),
              "band-stop": ("bandstop", [45.0, 55.0])}
    for ours, (theirs, corners) in shapes.items():
        for order in range(1, 9):
            sos = sg.butter(order, corners if len(corners) > 1 else corners[0], theirs, fs=RATE, output="sos")
            text = "..".join("%gHz" % c for c in corners)
            # rounding of narrow, high orders: the poles lie close to each other and to the unit circle
            tolerance = 1e-9 if ours == "low-pass" else 1e-6
            near(f"{ours} order {order}", values("--filter", f"a={ours}:{text},order={order}"), sg.sosfiltfilt(sos, a), tolerance)
    pulse = np.zeros(N)
    pulse[N // 2] = 1.0
    np.save(os.path.join(folder, "pulse.npy"), np.column_stack([np.arange(N) / RATE, pulse, pulse]))
    out = values("--filter", "a=low-pass:1kHz,order=3", name="pulse.npy")
    near("a symmetric pulse stays symmetric", out[N // 2 - 500:N // 2 + 501], out[N // 2 - 500:N // 2 + 501][::-1], 1e-12)
    spectrum = np.abs(np.fft.rfft(out))
    near("-6 dB at the corner", 20 * np.log10(spectrum[int(1000 / RATE * N)]), -6.0206, 1e-3)


def coupling(a):
    for corner in (0.5, 5.0, 100.0):
        b, d = sg.butter(1, corner, "highpass", fs=RATE)
        near(f"AC coupling at {corner} Hz", values("--ac-couple", f"a={corner}Hz"), sg.lfilter(b, d, a - a.mean()), 1e-9)
    near("the average", values("--ac-couple", "a=mean"), a - a.mean(), 1e-12)
    # droop of a held level: exp(-2 pi f t), any text on RC circuits (COMPUTED)
    step = np.where(np.arange(N) < N // 2, -1.0, 1.0)
    np.save(os.path.join(folder, "step.npy"), np.column_stack([np.arange(N) / RATE, step, step]))
    out = values("--ac-couple", "a=5Hz", name="step.npy")
    held = out[N // 2 + 200] / out[N // 2]
    near("10 ms at 5 Hz sag to exp(-2 pi 5 0.01)", held, np.exp(-2 * np.pi * 0.05), 1e-3)
    code, said, _ = run("measure", "step.npy", "--ac-couple", "c2=5Hz")
    check("the sag is said", "sags by 27 %" in said, said[:300])


def lines(a, b):
    near("zero", values("--zero", "a=0.01s..0.02s"), a - a[200:401].mean(), 1e-12)
    near("zero of every channel", values("--zero", "0s..0.05s", column=2), b - b[:1001].mean(), 1e-12)
    near("probe", values("--scale", "a=100mV/A"), a / 0.1, 1e-9)
    near("sensor with a level at nought", values("--scale", "a=1V/bar@0.5V"), a - 0.5, 1e-12)
    near("attenuator", values("--scale", "a=20:1"), 20 * a, 1e-12)
    near("turned over", values("--invert", "a"), -a, 0)
    near("zero comes before scale, scale before AC coupling", values("--ac-couple", "a=mean", "--scale", "a=10:1", "--zero", "a=0s..0.01s"),
         10 * a - (10 * a).mean(), 1e-9)
    code, out, _ = run("measure", "in.npy", "--json", "--channel", "a=2:V", "--scale", "a=100mV/A", "--zero", "0s..0.01s")
    told = json.loads(out)["capture"]["applied"]
    check("told in order", len(told) == 2 and told[0].startswith("zero, a: ") and told[1] == "scale, a: 100 mV is one A", told)
    check("its unit is A", '"unit":"A"' in out)


def records(a):
    run("convert", "in.npy", "-o", "kept.xml", "--channel", "a=2:V", "--invert", "a")
    code, out, _ = run("inspect", "kept.xml", "--json")
    check("kept in the document", json.loads(out)["applied"] == ["invert, a: turned over"], out[:200])
    code, out, err = run("measure", "in.npy", "--rated", "c2=-1..1", "--json")
    beyond = int(np.sum(np.abs(a) >= 1.0))
    check("samples at the rail", f"; {beyond} of {N} samples at or beyond it; never measure beyond the rating" in out, out[:300])
    code, out, err = run("inspect", "in.npy", "--rated", "c2=-1..1")
    check("the recording check says clipped", "at or beyond the rated range" in out, out)


def refusals():
    for words, said in ((("--zero", "5s..6s"), "not inside the recording"), (("--filter", "c2=low-pass:10kHz"), "not below half the sample rate"),
                        (("--scale", "c2=1bar/A", "--channel", "c2=2:V"), "cannot be turned into"), (("--invert", "none"), "there is no channel none"),
                        (("--zero", "1s"), "cannot be understood"), (("--filter", "c2=low-pass:1kHz,order=9"), "cannot be understood"),
                        (("--ac-couple", "c2"), "cannot be understood"), (("--rated", "2..1"), "cannot be understood"),
                        (("--scale", "c2=0:1"), "cannot be understood"), (("--filter", "c2=band-pass:2kHz..1kHz"), "cannot be understood")):
        code, out, err = run("measure", "in.npy", *words)
        check(" ".join(words), code == 64 and said in err and not out and err.count("\n") == 1, (code, err))


def main():
    rng = np.random.default_rng(7)
    t = np.arange(N) / RATE
    a = 2 * np.sin(2 * np.pi * 130 * t) + 0.3 * rng.standard_normal(N) + 0.7
    b = np.cumsum(rng.standard_normal(N)) * 0.05 + 3.0
    np.save(os.path.join(folder, "in.npy"), np.column_stack([t, a, b]))
    filters(a)
    coupling(a)
    lines(a, b)
    records(a)
    refusals()
    print(f"{passed} passed, {failed} failed")
    sys.exit(1 if failed else 0)


main()
