#!/usr/bin/python3
"""Compare the functions of signal with NumPy and SciPy, or with a plain restatement of their definition.

    check_signal.py PROBE      PROBE: the program built from signal_probe.c

Vectors come from seeded generators. Every check states its tolerance and why it is that large. Ends 0 when all
checks pass, 1 when one fails, 77 (skipped) when NumPy or SciPy is not installed.
"""
import subprocess
import sys

try:
    import numpy as np
    import scipy
    import scipy.signal
    import scipy.stats
except ImportError as missing:
    print(f"skipped: {missing}; install python3-numpy and python3-scipy")
    sys.exit(77)


class Probe:
    """The probe's process: call("name", numbers..., arrays...) gives an array, or None when the call was refused."""

    def __init__(self, path):
        self.process = subprocess.Popen([path], stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    def call(self, name, *arguments):
        numbers = [a for a in arguments if np.isscalar(a)]
        arrays = [np.ascontiguousarray(a, dtype=np.float64) for a in arguments if not np.isscalar(a)]
        line = [name, len(numbers), *(repr(float(a)) for a in numbers), len(arrays), *(a.size for a in arrays)]
        self.process.stdin.write((" ".join(map(str, line)) + "\n").encode())
        for a in arrays:
            self.process.stdin.write(a.tobytes())
        self.process.stdin.flush()
        head = self.process.stdout.readline().split()
        if not head:
            raise RuntimeError(f"the probe ended at {name}, status {self.process.wait()}")
        if head[0] == b"failed":
            return None
        return np.frombuffer(self.process.stdout.read(8 * int(head[0])), dtype=np.float64)


class Tally:
    def __init__(self):
        self.passed = self.failed = 0

    def near(self, what, got, expected, tolerance):
        """|got - expected| <= tolerance everywhere; a NaN must meet a NaN."""
        got, expected = np.asarray(got, dtype=float), np.asarray(expected, dtype=float)
        fits = got.shape == expected.shape
        if fits:
            off = np.abs(got - expected)
            fits = bool(np.all((off <= tolerance) | (np.isnan(got) & np.isnan(expected)) | (got == expected)))
        self.count(what, fits, f"worst off by {np.nanmax(off):.3g}, allowed {np.max(tolerance):.3g}"
                   if got.shape == expected.shape and got.size else f"{got.shape} values, expected {expected.shape}")

    def close(self, what, got, expected, relative):
        self.near(what, got, expected, relative * np.abs(np.asarray(expected, dtype=float)))

    def count(self, what, fits, why):
        if fits:
            self.passed += 1
        else:
            self.failed += 1
            print(f"FAILED {what}: {why}")


def wander(rng, n, offset=0.0):
    """A wandering level with noise, rounded to single precision so that both sides see the same samples."""
    level = scipy.signal.lfilter([0.2], [1, -0.99], rng.normal(size=n))
    return (offset + level + 0.3 * rng.normal(size=n)).astype(np.float32).astype(np.float64)


def check_transform(p, t, rng):
    for n in (2, 30, 1000, 16384):
        x = rng.normal(size=n).astype(np.float32)
        got = p.call("forward", x).reshape(-1, 2)
        # single precision: 6e-8 of the length of x, times a few
        t.near(f"transform of {n}", got[:, 0], np.fft.rfft(x).real, 5e-7 * np.linalg.norm(x))
        t.near(f"transform of {n}, imaginary", got[:, 1], np.fft.rfft(x).imag, 5e-7 * np.linalg.norm(x))


def check_correlate(p, t, rng):
    for na, nv in ((1, 1), (5, 3), (3, 5), (300, 200), (5000, 3000), (3000, 5000), (100000, 9000), (40000, 1), (20000, 20000)):
        a, v = rng.normal(size=na) + 1000, rng.normal(size=nv) - 50
        centred = np.linalg.norm(a - a.mean()) * np.linalg.norm(v - v.mean())
        # 1e-6 of the centred lengths, as the header promises, and the rounding of the sums in double
        tolerance = 1e-6 * centred + 1e-12 * np.linalg.norm(a) * np.linalg.norm(v)
        t.near(f"correlate_full {na} x {nv}", p.call("correlate_full", a, v), np.correlate(a, v, "full"), tolerance)


def scipy_delay(x, y):
    c = np.abs(scipy.signal.correlate(y, x, method="direct"))
    lags = scipy.signal.correlation_lags(y.size, x.size)
    best = lags[c >= c.max() * (1 - 1e-12)]
    return best[np.argmin(np.abs(best))]


def check_delay(p, t, rng):
    x = rng.normal(size=1000)
    y = np.concatenate([rng.normal(size=100), x])
    lags = scipy.signal.correlation_lags(x.size, y.size)
    t.near("SciPy's documented case, its argument order", lags[np.argmax(scipy.signal.correlate(x, y))], -100, 0)
    t.near("SciPy's documented case, ours", p.call("find_delay", x, y), [100], 0)
    for nx, ny in ((10, 7), (200, 300), (3000, 2000), (4000, 4000)):
        x, y = rng.normal(size=nx), rng.normal(size=ny)
        t.near(f"find_delay of noise {nx}, {ny}", p.call("find_delay", x, y), [scipy_delay(x, y)], 0)


def direct_ncc(x, v, places):
    windows = np.lib.stride_tricks.sliding_window_view(x, v.size)[places]
    w = windows - windows.mean(axis=1, keepdims=True)
    v = v - v.mean()
    return w @ v / (np.linalg.norm(w, axis=1) * np.linalg.norm(v))


def check_ncc(p, t, rng):
    for n, m, offset in ((300, 20, 0), (16384, 1000, 3), (20000, 2048, 1e3), (100000, 4096, 14), (60000, 8192, -200), (100000, 9000, 100), (300000, 100000, 5)):
        x = wander(rng, n, offset)
        at = n // 3
        got = p.call("ncc", 0.0, x, x[at:at + m])
        places = np.unique(np.concatenate([rng.integers(0, n - m + 1, 200), [0, at, n - m]]))
        t.near(f"ncc {n} x {m}, offset {offset}", got[places], direct_ncc(x, x[at:at + m], places), 2e-6)  # the header's figure
        t.near(f"ncc {n} x {m}, best place", np.argmax(got), at, 0)
    for n in (2, 7, 97, 360, 1001, 2048):
        x, v = wander(rng, n, 50), wander(rng, n, -3)
        expected = [np.corrcoef(np.roll(x, -k), v)[0, 1] for k in range(n)]
        # the samples are rounded to single precision about 50: their spread keeps 1e-6 of it
        t.near(f"ncc_circular {n}", p.call("ncc_circular", x, v), expected, 5e-6)


def check_autocorrelate(p, t, rng):
    for n, most in ((200, 199), (20000, 3000), (20000, 12000), (100000, 50000)):
        x = wander(rng, n, 20)
        d = x - x.mean()
        energy = np.concatenate([[0], np.cumsum(d * d)])
        lag = np.arange(most + 1)
        expected = scipy.signal.correlate(d, d, method="fft")[n - 1:n + most] / np.sqrt(energy[n - lag] * (energy[n] - energy[lag]))
        # single precision, and its share grows where little overlaps
        t.near(f"autocorrelate {n}, {most}", p.call("autocorrelate", most, x), expected, 2e-6 / np.maximum(1 - lag / n, 0.05))


def check_peak(p, t, rng):
    for n in (256, 301, 1024):
        spectrum = np.fft.rfft(rng.normal(size=n))
        spectrum[n // 3:] = 0
        r = np.fft.irfft(np.abs(spectrum) ** 2 * np.exp(-2j * np.pi * np.arange(spectrum.size) * (40 + rng.uniform()) / n), n)
        r = (r / np.abs(r).max()).astype(np.float32)
        fine = scipy.signal.resample(r.astype(float), 1000 * n)  # exact for a circle: zeros behind the spectrum
        got = p.call("peak_place_circular", int(np.argmax(r)), r)
        t.near(f"peak_place_circular {n}", got[0], np.argmax(fine) / 1000, 1e-3)  # the fine grid's step
        t.near(f"peak_place_circular {n}, height", got[1], fine.max(), 2e-6)
        wide = np.tile(r, 3)  # the same peak in a long correlation, by 48 neighbours
        t.near(f"peak_place {n}", p.call("peak_place", int(np.argmax(r)) + n, wide) - n, [np.argmax(fine) / 1000], 2e-3)


def check_resample(p, t, rng):
    for up, down, n in ((1, 1, 50), (3, 2, 1000), (6, 4, 1000), (1, 4, 1001), (160, 147, 5000), (147, 160, 3000), (7, 1, 3), (2, 3, 1)):
        x = rng.normal(size=n) + 5
        got, expected = p.call("resample_rational", up, down, x), scipy.signal.resample_poly(x, up, down, padtype="edge")
        if up == down:
            expected = x
        t.near(f"resample_rational {up}/{down} of {n}", got, expected, 1e-12)  # the same filter in double


def exact_average(x, low, high):
    """Of the straight lines through the samples, held at the ends: the trapezium rule on all corners is exact."""
    corners = np.unique(np.concatenate([[low, high], np.arange(np.ceil(low), np.floor(high) + 1)]))
    return np.trapz(np.interp(corners, np.arange(x.size), x), corners) / (high - low)


def check_cells(p, t, rng):
    for n, count, low, high in ((1000, 37, 3.2, 970.7), (1000, 900, 0.0, 999.0), (5000, 13, -20.0, 5100.0), (50, 200, 10.0, 20.0)):
        x = rng.normal(size=n) + 12
        edge = np.linspace(low, high, count + 1) + (rng.uniform(-0.2, 0.2, count + 1) if (high - low) / count > 2 else 0)
        expected = [exact_average(x, a, b) if b - a >= 1 else np.interp((a + b) / 2, np.arange(n), x) for a, b in zip(edge, edge[1:])]
        t.near(f"cells {count} over {low} to {high}", p.call("cells", x, edge), expected, 1e-6 * 12)  # the answer is in single precision


def plain_crossings(x, low, high):
    """A state machine; the place by looking back for the last passage of the middle."""
    middle, found, state = 0.5 * (low + high), [], 0
    for i, v in enumerate(x):
        new = 1 if v > high else -1 if v < low else state
        if state and new != state:
            j = i - 1
            while not (x[j] <= middle if new > 0 else x[j] >= middle):
                j -= 1
            found += [j + (middle - x[j]) / (x[j + 1] - x[j]), new]
        state = new
    return np.array(found, dtype=float)


def check_crossings(p, t, rng):
    for n, low, high in ((1000, -0.5, 0.5), (5000, 0.0, 0.0), (20000, -1.0, 1.2)):
        x = wander(rng, n)
        got, expected = p.call("crossings", low, high, x), plain_crossings(x, low, high)
        t.count(f"crossings {low}, {high}: some", expected.size > 20, "the vector has none")
        t.near(f"crossings {low}, {high}", got, expected, 1e-9)
    x = wander(rng, 5000)
    sign = np.flatnonzero(np.diff(np.sign(x)))
    t.near("crossings of 0 by sign change", p.call("crossings", 0.0, 0.0, x)[::2], sign + x[sign] / (x[sign] - x[sign + 1]), 1e-9)


def check_levels(p, t, rng):
    for duty in (0.1, 0.5, 0.9):
        x = np.where(np.arange(20000) % 500 < 500 * duty, 4.8, 0.3) + 0.02 * rng.normal(size=20000)
        count, edge = np.histogram(x, bins=100)
        width = edge[1] - edge[0]
        low, high = edge[np.argmax(count[:50])] + width / 2, edge[50 + np.argmax(count[50:])] + width / 2
        got = p.call("state_levels", 100, x)
        t.near(f"state_levels at duty {duty}", got[:2], [low, high], width)  # the mean near the mode against the middle of its bin
        t.near(f"two states at duty {duty}", got[2], 1, 0)


def check_spectrum(p, t, rng):
    for n, segment, rate in ((50000, 1024, 1000.0), (3000, 3000, 10.0), (10000, 250, 48000.0)):
        x = 100 + 2 * rng.normal(size=n) + np.sin(0.3 * np.arange(n))
        frequency, expected = scipy.signal.welch(x, rate, nperseg=segment)
        got = p.call("welch", rate, segment, x)
        # single precision against the strongest bin
        t.near(f"welch {n}, {segment}", got, expected, 1e-6 * expected + 1e-9 * expected.max())
        low, high = 0.11 * rate, 0.3 * rate
        width = frequency[1]
        left, right = np.maximum(frequency - width / 2, 0), np.minimum(frequency + width / 2, rate / 2)
        covered = np.clip(np.minimum(right, high) - np.maximum(left, low), 0, None) / (right - left)
        t.close(f"band_power {n}, {segment}", p.call("band_power", width, low, high, expected), [(covered * expected).sum() * width], 1e-12)
        t.close(f"all bands {n}, {segment}", p.call("band_power", width, 0.0, rate / 2, expected), [expected.sum() * width], 1e-12)
    for fraction in (1, 3):
        for index in (-10, -1, 0, 1, 7):
            mid = 1000 * 10 ** (0.3 * index / fraction)  # IEC 61260-1:2014, odd fractions
            half = 10 ** (0.15 / fraction)
            t.close(f"band 1/{fraction} {index}", p.call("band", fraction, index), [mid / half, mid, mid * half], 1e-13)


def check_statistics(p, t, rng):
    for n, mean, sd in ((2, 0, 1), (1000, 5, 2), (100001, 1e6, 0.01), (777, -3, 100)):
        x = mean + sd * rng.normal(size=n)
        d = x.astype(np.longdouble) - x.astype(np.longdouble).mean()  # extended precision: the reference must be better
        expected = [x.astype(np.longdouble).mean(), np.sqrt((d * d).sum() / (n - 1)), np.sqrt((x.astype(np.longdouble) ** 2).mean()),
                    (d[1:] * d[:-1]).sum() / (d * d).sum(), x.min(), x.max(), (x.astype(np.longdouble) ** 4).mean() ** 0.25]
        got = p.call("moments", x)
        # mean, rms, extremes and fourth mean to rounding; sd and lag-1 to the rounding of the mean beside the spread
        about = 1e-14 * (1 + abs(mean) / sd)
        t.near(f"moments {n} {mean} {sd}", got, expected, np.abs(np.array(expected, dtype=float)) * 1e-14 + [0, about * sd, 0, about, 0, 0, 0])
        y = 0.4 * x + sd * rng.normal(size=n)
        t.near(f"correlation {n}", p.call("correlation", x, y), [np.corrcoef(x, y)[0, 1]], 1e-9)
    for n in (1, 2, 9, 10, 1000, 30001):
        shares = np.array([0, 0.1, 0.25, 0.5, 0.77, 1])
        for kind, x in (("normal", rng.normal(size=n)), ("few values", rng.integers(0, 4, n)), ("sorted", np.arange(n)), ("pipes", np.abs(np.arange(n) - n / 2))):
            x = np.asarray(x, dtype=float)
            got = p.call("order", x, shares)
            t.near(f"median {n} {kind}", got[0], np.median(x), 0)
            t.near(f"median in single precision {n} {kind}", got[1], np.median(x.astype(np.float32).astype(float)), 1e-6 * (1 + abs(np.median(x))))
            t.near(f"MAD {n} {kind}", got[2], scipy.stats.median_abs_deviation(x, scale="normal"), 1e-12 * n)
            t.near(f"quantiles {n} {kind}", got[3:], np.quantile(x, shares), 1e-12 * n)


def check_distributions(p, t, rng):
    a, b = (10 ** rng.uniform(-1, 4, 300) for _ in range(2))
    x = np.clip(rng.beta(a, b), 1e-12, 1 - 1e-12)
    expected = scipy.stats.beta.cdf(x, a, b)
    # 1e-16 in x is already this much of the tail: conditioning, not a fault of either side
    slack = 1e-12 + 1e-15 * scipy.stats.beta.pdf(x, a, b) * x / np.maximum(expected, 1e-300)
    t.near("beta_cdf", p.call("beta_cdf", x, a, b), expected, slack * expected)
    share = rng.uniform(0.001, 0.999, 300)
    got = p.call("beta_quantile", share, a, b)
    usable = got > 1e-290
    t.near("beta_quantile", got[usable], scipy.stats.beta.ppf(share, a, b)[usable], 1e-9 * got[usable])
    freedom = np.concatenate([rng.uniform(0.5, 40, 200), 10 ** rng.uniform(2, 7, 50)])
    share = rng.uniform(0.0005, 0.9995, 250)
    got = p.call("t_quantile", share, freedom)
    # this SciPy's own quantile is good to about 1e-8; its distribution function serves as the second, sharper check
    t.near("t_quantile", got, scipy.stats.t.ppf(share, freedom), 1e-7 * np.abs(got) + 1e-9)
    t.near("t_cdf", p.call("t_cdf", got, freedom), share, 1e-12)
    t.near("t_cdf by SciPy", scipy.stats.t.cdf(got, freedom), share, 1e-8)
    z = rng.uniform(-8, 8, 200)
    t.close("normal_cdf", p.call("normal_cdf", z), scipy.stats.norm.cdf(z), 1e-13)
    share = np.concatenate([10 ** rng.uniform(-300, -1, 100), rng.uniform(0.1, 0.99999, 100)])
    t.near("normal_quantile", p.call("normal_quantile", share), scipy.stats.norm.ppf(share), 1e-12 * (1 + np.abs(scipy.stats.norm.ppf(share))))
    n = rng.integers(1, 3000, 200)
    k = np.minimum(rng.binomial(n, 0.2) + 1, n)
    q = rng.uniform(0.05, 0.4, 200)
    t.close("binomial_tail", p.call("binomial_tail", k, n, q), scipy.stats.binom.sf(k - 1, n, q), 1e-10)
    for k, n, alpha in ((0, 10, 0.05), (7, 50, 0.05), (10, 10, 0.05), (3, 212, 0.1), (500, 10000, 0.01)):
        interval = scipy.stats.binomtest(k, n).proportion_ci(1 - alpha, "exact")
        t.near(f"clopper_pearson {k} of {n}", p.call("clopper_pearson", k, n, alpha), interval, 1e-11)  # its root finder stops at 1e-12


def plain_warp(a, b, window, penalty):
    """The recurrence as it is written, over the whole table."""
    cost = np.full((a.size + 1, b.size + 1), np.inf)
    cost[0, 0] = 0
    for i in range(a.size):
        for j in range(max(0, i - window), min(b.size, i + window + 1)):
            aside = min(cost[i, j + 1], cost[i + 1, j]) + penalty
            cost[i + 1, j + 1] = min(cost[i, j], aside) + abs(a[i] - b[j])
    return cost[-1, -1] / a.size


def check_warp(p, t, rng):
    for n, window, penalty in ((1, 0, 0.5), (2, 5, 0.5), (50, 0, 0.5), (50, 49, 0.1), (128, 14, 0.5), (256, 26, 0.0), (100, 7, 2.0)):
        a = wander(rng, n)
        b = (np.roll(a, 3) + 0.1 * rng.normal(size=n)).astype(np.float32).astype(float)
        t.near(f"warp {n}, {window}, {penalty}", p.call("warp", window, penalty, a, b), [plain_warp(a, b, window, penalty)], 1e-12)
    for n in range(1, 13):  # every way the band can meet the corners
        a, b = (rng.normal(size=n).astype(np.float32).astype(float) for _ in range(2))
        got = [p.call("warp", window, 0.3, a, b)[0] for window in range(n + 2)]
        t.near(f"warp of {n}, every window", got, [plain_warp(a, b, window, 0.3) for window in range(n + 2)], 1e-12)


def check_solve(p, t, rng):
    for n in (1, 2, 30, 150):
        half = rng.normal(size=(n, n))
        matrix, b = half @ half.T + np.eye(n), rng.normal(size=n)
        t.near(f"solve {n}", p.call("solve", matrix, b), np.linalg.solve(matrix, b), 1e-10)


def main():
    if len(sys.argv) != 2:
        print(__doc__)
        return 64
    p, t = Probe(sys.argv[1]), Tally()
    checks = [check_transform, check_correlate, check_delay, check_ncc, check_autocorrelate, check_peak, check_resample, check_cells,
              check_crossings, check_levels, check_spectrum, check_statistics, check_distributions, check_warp, check_solve]
    for seed, check in enumerate(checks):
        check(p, t, np.random.default_rng(seed))
    p.process.stdin.close()
    t.count("the probe ends well", p.process.wait() == 0, f"status {p.process.returncode}")
    print(f"NumPy {np.__version__}, SciPy {scipy.__version__}: {t.passed} passed, {t.failed} failed")
    return 0 if t.failed == 0 and t.passed > 0 else 1


if __name__ == "__main__":
    sys.exit(main())
