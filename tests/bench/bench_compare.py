"""How long one comparison takes, as people wait for it: the whole process, beside importing SciPy's signal package.

/usr/bin/python3 bench_compare.py BIN [RUNS]
Compares a text capture of 50,000 samples with a known-good learned from six others (all modelled, made here). The two
commands take turns, so that a slow minute of the machine hits both; printed are medians, quartiles and their ratio.
A benchmark, not a test: it fails only when a command does.
"""
import os
import statistics
import subprocess
import sys
import tempfile
import time

binaries = os.path.abspath(sys.argv[1])
runs = int(sys.argv[2]) if len(sys.argv) > 2 else 41
plumb = os.path.join(binaries, "plumb")


def seconds(command, statuses):
    begun = time.perf_counter()
    done = subprocess.run(command, stdout=subprocess.DEVNULL, env=dict(os.environ, OPENBLAS_NUM_THREADS="1"))
    taken = time.perf_counter() - begun
    if done.returncode not in statuses:
        sys.exit(f"{command[0]} ended with {done.returncode}")
    return taken


def summary(name, times):
    low, middle, high = statistics.quantiles(times, n=4)
    print(f"{name:34} median {1000 * middle:8.1f} ms   quartiles {1000 * low:.1f} to {1000 * high:.1f}")
    return middle


with tempfile.TemporaryDirectory() as folder:
    subprocess.run([os.path.join(binaries, "make-demo"), folder, "50000"], check=True)
    good = [os.path.join(folder, f"van-{i}.csv") for i in range(1, 7)]
    reference = os.path.join(folder, "known-good.xml")
    subprocess.run([plumb, "learn", "--provenance", "modelled", "--type", "crank-inductive", "--name", "bench/50000",
                    "--cycle", "wheel:teeth=60,missing=2", "--channel", "crank=2:V", *good, "-o", reference],
                   check=True, stdout=subprocess.DEVNULL)
    ours = [plumb, "compare", os.path.join(folder, "van-7.csv"), "--reference", reference]
    peer = ["/usr/bin/python3", "-c", "import scipy.signal"]
    nothing = ["/bin/true"]
    times = {"ours": [], "peer": [], "nothing": []}
    for run in range(runs + 2):
        for name, command in (("ours", ours), ("peer", peer), ("nothing", nothing)):
            taken = seconds(command, (0, 1, 2))
            if run >= 2:  # the first two fill the caches
                times[name].append(taken)
    summary("a process that does nothing", times["nothing"])
    one = summary("plumb compare, 50,000 samples", times["ours"])
    other = summary("python3 -c 'import scipy.signal'", times["peer"])
    print(f"ratio 1 : {other / one:.1f}")
