"""The fit of both actuators alone, for docs/performance.md: scipy's least squares on a simulator that numba
has compiled, from the starts that `cargo bench --bench plant` uses.

    env/bin/python benches/script/plant_fit.py target/plant-fit

That bench makes the folder; the environment is that of whole_job.py.
"""

import json
import sys
import time
from pathlib import Path

import numpy as np
import polars as pl
from scipy.optimize import least_squares

from simulator import PLAY, nozzle

# Gain, bias, lag, delay, width: as in benches/plant.rs.
STARTS = [
    (1.0, 0.0, 0.02, delay, width)
    for delay in (0.005, 0.01, 0.02, 0.03)
    for width in (0.1, 0.3, 0.6)
]


def fit(at, command, times, measured):
    changed = np.r_[True, np.diff(command) != 0]
    at, command = at[changed], command[changed]
    keep = (times > at[1] - 0.25) & (times < at[-1] + 0.25)
    times, measured = times[keep], measured[keep]

    def residuals(x):
        out = np.empty(times.size)
        nozzle(PLAY, x[0], x[1], max(x[2], 1e-4), x[3], abs(x[4]), at, command, times, out)
        return out - measured

    fits = [least_squares(residuals, start, x_scale=[0.1, 0.1, 0.01, 0.005, 0.1]) for start in STARTS]
    return min(fits, key=lambda one: one.cost)


def main(folder):
    computer = pl.read_csv(folder / "computer.csv")
    clock = computer["ms"].to_numpy() * 1e-3
    logged = [
        (computer[f"cmd_{axis}_deg"].to_numpy(), computer[f"pot_{axis}_deg"].to_numpy())
        for axis in ("pitch", "yaw")
    ]
    times = []
    for _ in range(5):
        began = time.perf_counter()
        found = [fit(clock, command, clock, pot) for command, pot in logged]
        times.append(time.perf_counter() - began)
    print(json.dumps({"both_axes_s": sorted(times)[2], "fits": [one.x.round(5).tolist() for one in found]}))


main(Path(sys.argv[1]))
