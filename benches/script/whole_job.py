"""The same job as a plain script on general-purpose libraries, for docs/performance.md.

    python -m venv env && env/bin/pip install numpy scipy polars numba matplotlib
    env/bin/python benches/script/whole_job.py FOLDER [--bare]

FOLDER is one of target/long-logs, which `cargo bench --bench long` makes. The script reads both logs, takes their
digests, calibrates the cell, finds the burn, takes the zero line off, integrates, fits gain, bias, lag, delay and dead
band of both actuators from many starts with their standard errors, regresses the rig's turning on thrust and nozzle, and writes the thrust, the
results and a picture, as a reduction does. It knows nothing of the impulse's uncertainty, of clocks that drift, weight lost, a stand that
rings, noise that is not white, or which motor lit. With --bare it prints impulse and plant alone.
"""

import hashlib
import json
import resource
import sys
import time
from pathlib import Path

import numpy as np
import polars as pl
from scipy.optimize import least_squares

from simulator import NONE, PLAY, ZONE, nozzle

GRAVITY = 9.811


def actuator(at, command, times, measured):
    changed = np.r_[True, np.diff(command) != 0]
    at, command = at[changed], command[changed]
    keep = (times > at[1] - 0.25) & (times < at[-1] + 0.25)
    times, measured = times[keep], measured[keep]
    best = None
    for kind in (NONE, ZONE, PLAY):

        def residuals(x, times=times, measured=measured):
            out = np.empty(times.size)
            nozzle(kind, x[0], x[1], max(x[2], 1e-4), x[3], abs(x[4]), at, command, times, out)
            return out - measured

        starts = []
        thin = slice(None, None, max(1, times.size // 300))
        for delay in np.linspace(0.0, 0.06, 13):
            for width in np.linspace(0.0, 1.0, 11) if kind != NONE else [0.0]:
                x = np.array([1.0, 0.0, 0.02, delay, width])
                starts.append((np.sum(residuals(x, times[thin], measured[thin]) ** 2), tuple(x)))
        for _, start in sorted(starts)[:5]:
            free = least_squares(residuals, start, x_scale=[0.1, 0.1, 0.01, 0.005, 0.1])
            if best is None or free.cost < best[0]:
                best = (free.cost, kind, free)
    cost, kind, free = best
    variance = 2 * cost / (times.size - free.x.size)
    errors = np.sqrt(np.diag(np.linalg.pinv(free.jac.T @ free.jac)) * variance)
    angle = np.empty(times.size)
    nozzle(kind, *free.x[:2], max(free.x[2], 1e-4), free.x[3], abs(free.x[4]), at, command, times, angle)
    return ("none", "zone", "play")[kind], free.x, errors, times, measured, angle


def rig(times, nozzle_deg, rate, thrust):
    """Turning by thrust times nozzle angle, by thrust alone, by rate and by tilt, of rates read at these times."""
    turning = np.gradient(rate, times)
    tilt = np.cumsum(rate) * np.median(np.diff(times))
    design = np.c_[thrust * np.radians(nozzle_deg), thrust, -rate, -tilt]
    return np.linalg.lstsq(design, turning, rcond=None)[0]


def picture(folder, thrust, axes):
    import matplotlib

    matplotlib.use("svg")
    from matplotlib import pyplot as plt

    figure, panels = plt.subplots(1 + 2 * len(axes), figsize=(8, 12))
    panels[0].plot(*thrust)
    for (name, (_, _, _, times, measured, angle)), at in zip(axes.items(), (1, 3)):
        panels[at].plot(times, measured)
        panels[at].plot(times, angle)
        panels[at].set_title(name)
        panels[at + 1].plot(times, measured - angle)
    figure.savefig(folder / "script.svg")


def means(values, count):
    whole = values.size // count * count
    return values[:whole].reshape(-1, count).mean(axis=1)


def main(folder, bare):
    began = time.perf_counter()
    columns = ["t_us", "base_raw", "fire"]
    stand = pl.read_csv(folder / "stand.csv", columns=columns)
    computer = pl.read_csv(folder / "computer.csv")
    points = pl.read_csv(folder / "cell-base-points.csv")
    digests = {} if bare else {name: digest(folder / name) for name in ("stand.csv", "computer.csv")}
    read = time.perf_counter()
    load = points["mass_g"].to_numpy() * 1e-3 * GRAVITY
    curve = np.polyfit(points["raw"].to_numpy(), load, 2)
    t = np.unwrap(stand["t_us"].to_numpy().astype(float), period=2.0**32) * 1e-6
    force = np.polyval(curve, stand["base_raw"].to_numpy())
    rest = np.median(force[:: max(1, force.size // 100_000)])
    above = np.flatnonzero(force - rest > 0.05 * np.max(force - rest))
    first, last = above[0], above[-1]
    before = np.mean(force[(t > t[first] - 3) & (t < t[first] - 0.1)])
    after = np.mean(force[(t > t[last] + 0.3) & (t < t[last] + 3)])
    line = np.interp(t, [t[first], t[last]], [before, after])
    total = np.trapezoid((force - line)[first : last + 1], t[first : last + 1])
    reduced = time.perf_counter()
    clock = computer["ms"].to_numpy() * 1e-3
    edges = [np.flatnonzero(np.diff(x.to_numpy()) > 0)[0] for x in (stand["fire"], computer["fire"])]
    clock = clock - clock[edges[1]] + t[edges[0]]
    # A reduction writes no more than 10 kHz.
    count = max(1, round(1e-4 / np.median(np.diff(t[:1000]))))
    thrust = means(t, count), means(force - line, count)
    axes = {}
    for axis in ("pitch", "yaw"):
        command = computer[f"cmd_{axis}_deg"].to_numpy()
        axes[axis] = actuator(clock, command, clock, computer[f"pot_{axis}_deg"].to_numpy())
    plant = {axis: [found[0], *np.round(found[1], 5).tolist()] for axis, found in axes.items()}
    out = {"total_ns": round(float(total), 3), "plant": plant}
    if not bare:
        for axis, (_, _, errors, times, _, angle) in axes.items():
            rate = np.radians(np.interp(times, clock, computer[f"gyro_{axis}"].to_numpy()))
            turned = rig(times, angle, rate, np.interp(times, *thrust))
            plant[axis] += [errors.tolist(), turned.tolist()]
        pl.DataFrame({"time_s": thrust[0], "thrust_n": thrust[1]}).write_csv(folder / "script.csv", float_precision=4)
        picture(folder, thrust, axes)
        (folder / "script.json").write_text(json.dumps(out | {"sha256": digests}))
    done = time.perf_counter()
    seconds = {"read_s": read - began, "reduce_s": reduced - read, "rest_s": done - reduced, "job_s": done - began}
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(json.dumps(out | {"rows": t.size, "peak_mib": peak} | {of: round(s, 3) for of, s in seconds.items()}))


def digest(path):
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


main(Path(sys.argv[1]), "--bare" in sys.argv)
