"""The same job as a plain script on general-purpose libraries, for docs/performance.md.

    python -m venv env && env/bin/pip install numpy scipy polars numba
    env/bin/python benches/script/whole_job.py FOLDER

FOLDER is one of target/long-logs, which `cargo bench --bench long` makes. The script reads both logs,
calibrates the cell, finds the burn, takes the zero line off, integrates, and fits gain, bias, lag, delay and
dead band of both actuators from many starts. It knows nothing of uncertainties, clocks that drift, weight
lost, or which motor lit, and fits no rig.
"""

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
                best = (free.cost, kind, free.x)
    return best


def main(folder):
    began = time.perf_counter()
    stand = pl.read_csv(folder / "stand.csv", columns=["t_us", "base_raw", "fire"])
    computer = pl.read_csv(folder / "computer.csv")
    points = pl.read_csv(folder / "cell-base-points.csv")
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
    plant = {}
    for axis in ("pitch", "yaw"):
        command = computer[f"cmd_{axis}_deg"].to_numpy()
        _, kind, x = actuator(clock, command, clock, computer[f"pot_{axis}_deg"].to_numpy())
        plant[axis] = [("none", "zone", "play")[kind], *np.round(x, 5).tolist()]
    done = time.perf_counter()
    print(
        json.dumps(
            {
                "rows": t.size,
                "total_ns": round(float(total), 3),
                "plant": plant,
                "read_s": round(read - began, 3),
                "reduce_s": round(reduced - read, 3),
                "plant_s": round(done - reduced, 3),
                "job_s": round(done - began, 3),
                "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
            }
        )
    )


main(Path(sys.argv[1]))
