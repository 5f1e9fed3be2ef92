"""A swivel's actuator, compiled by numba: what both scripts fit."""

import numba
import numpy as np

NONE, ZONE, PLAY = 0, 1, 2


@numba.njit(cache=True)
def nozzle(kind, gain, bias, lag, delay, width, at, command, times, out):
    """Commands held, delayed, through a dead band, a gain and a first-order lag; exact at `times`."""
    half = 0.5 * width
    behind = 0.0
    angle = gain * bias
    now = at[0] + delay
    demanded = gain * bias
    k = 0
    for i in range(times.size):
        while k < at.size and at[k] + delay <= times[i]:
            angle = demanded + (angle - demanded) * np.exp(-(at[k] + delay - now) / lag)
            now = at[k] + delay
            c = command[k]
            if kind == PLAY:
                behind = min(max(behind, c - half), c + half)
            elif kind == ZONE:
                behind = c - half if c > half else (c + half if c < -half else 0.0)
            else:
                behind = c
            demanded = gain * (behind + bias)
            k += 1
        if times[i] < now:
            out[i] = angle
        else:
            out[i] = demanded + (angle - demanded) * np.exp(-(times[i] - now) / lag)
