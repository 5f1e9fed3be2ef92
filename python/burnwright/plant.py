"""The plant of a rig or rocket in steps: command to nozzle angle to tilt.

The equations are those of ``plant.json``. Commands are held, so the nozzle angle follows in closed form; tilt follows by
the classical Runge-Kutta method (Kutta 1901) in steps of at most a quarter of a millisecond, cut where a command
arrives, and where dry friction stops the axis (Filippov 1988), found by a straight line through the step. Written from
the equations, apart from the program; the tests hold both, and a C program from ``plant.h``, to one another within 1e-9
in the same steps. Where the axis stops by dry friction, other steps move the stop a little: some 1e-5 deg at these.
"""

from __future__ import annotations

import cmath
import math
import random
from bisect import bisect_right
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from ._program import BurnwrightError
from .results import AxisPlant, PlantFile

#: Longest step of the integration, s.
LONGEST_STEP_S = 2.5e-4
#: Shortest lag, s: below it the loop no longer depends on it.
_SHORTEST_LAG_S = 1e-4

Body = Literal["rig", "flight"]


@dataclass
class AxisState:
    """Where one axis is: ``time_s``, ``tilt_deg``, ``rate_deg_s`` (deg/s), ``nozzle_deg``. Steps change it in place."""

    time_s: float = 0.0
    tilt_deg: float = 0.0
    rate_deg_s: float = 0.0
    nozzle_deg: float = 0.0
    # Commands on their way, the last one given, what the dead band passes on, and the nozzle at the last arrival.
    _coming: deque[tuple[float, float]] = field(default_factory=deque, repr=False)
    _command_deg: float = field(default=0.0, repr=False)
    _passed_deg: float = field(default=0.0, repr=False)
    _demand_deg: float = field(default=0.0, repr=False)
    _since_s: float = field(default=0.0, repr=False)
    _from_deg: float = field(default=0.0, repr=False)
    _from_deg_s: float = field(default=0.0, repr=False)


@dataclass(frozen=True)
class AxisModel:
    """The numbers of one axis: best estimate, or one plant drawn from what is known of it.

    ``gain`` in deg/deg, ``bias_deg``, ``lag_s``, ``delay_s``, ``dead_band`` with its total ``width_deg``,
    ``damping_ratio`` (``None``: an actuator of first order), ``slew_deg_s`` and ``travel_deg`` (``None``: no limit), ``effectiveness_per_kg_m`` and ``thrust_bias_per_kg_m`` in
    1/(kg m), ``damping_per_s``, ``stiffness_per_s2``, ``coulomb_rad_per_s2``. ``left_out`` names what the record did not
    tell and the model does without.

    >>> axis = AxisModel(gain=1.0, lag_s=0.02, delay_s=0.01, effectiveness_per_kg_m=4.0)
    >>> state = axis.start()
    >>> for _ in range(40):
    ...     state = axis.step(state, command_deg=2.0, thrust_n=28.0, step_s=0.005)
    >>> f"{state.nozzle_deg:.3f} deg, {state.tilt_deg:.3f} deg"
    '2.000 deg, 3.281 deg'
    """

    gain: float
    lag_s: float
    delay_s: float
    effectiveness_per_kg_m: float
    bias_deg: float = 0.0
    dead_band: Literal["none", "dead-zone", "play"] = "none"
    width_deg: float = 0.0
    damping_ratio: float | None = None
    slew_deg_s: float | None = None
    travel_deg: float | None = None
    thrust_bias_per_kg_m: float = 0.0
    damping_per_s: float = 0.0
    stiffness_per_s2: float = 0.0
    coulomb_rad_per_s2: float = 0.0
    left_out: tuple[str, ...] = ()

    def start(self, tilt_deg: float = 0.0, rate_deg_s: float = 0.0, time_s: float = 0.0) -> AxisState:
        """The axis at rest under a command of zero, tilted by some degrees and turning at some deg/s."""
        demand = self._demand(0.0)
        return AxisState(
            time_s, tilt_deg, rate_deg_s, demand, _demand_deg=demand, _since_s=time_s, _from_deg=demand
        )

    def step(
        self,
        state: AxisState,
        command_deg: float,
        thrust_n: float | tuple[float, float],
        step_s: float,
        longest_step_s: float = LONGEST_STEP_S,
    ) -> AxisState:
        """Moves a state on by ``step_s`` seconds and gives it back.

        ``command_deg`` is in force from the state's time on; ``thrust_n`` is the thrust in newtons, or its values at
        the beginning and the end with a straight line between.
        """
        begin_n, end_n = thrust_n if isinstance(thrust_n, tuple) else (thrust_n, thrust_n)
        if not (step_s > 0.0 and math.isfinite(command_deg + begin_n + end_n + step_s)):
            raise BurnwrightError(
                f"error: a step needs finite numbers and a time above zero: {command_deg} deg, {thrust_n} N, {step_s} s"
            )
        if command_deg != state._command_deg:
            state._coming.append((state.time_s + self.delay_s, command_deg))
            state._command_deg = command_deg
        from_s, to_s = state.time_s, state.time_s + step_s
        slope = (end_n - begin_n) / step_s
        motion = _Motion(self, state, lambda time_s: begin_n + slope * (time_s - from_s))
        now_s = from_s
        while now_s < to_s:
            self._arrive(state, now_s)
            until_s = min(to_s, state._coming[0][0]) if state._coming else to_s
            count = max(1, math.ceil((until_s - now_s) / longest_step_s - 1e-9))
            part_s = (until_s - now_s) / count
            for at in range(count):
                motion.advance(now_s + at * part_s, part_s)
            now_s = until_s
        self._arrive(state, to_s)
        state.time_s, state.nozzle_deg = to_s, self.nozzle_deg(state, to_s)
        state.tilt_deg, state.rate_deg_s = math.degrees(motion.tilt), math.degrees(motion.rate)
        return state

    def run(
        self,
        time_s: Sequence[float],
        command_deg: Sequence[float],
        thrust: tuple[Sequence[float], Sequence[float]],
        tilt_deg: float = 0.0,
        rate_deg_s: float = 0.0,
        longest_step_s: float = LONGEST_STEP_S,
    ) -> dict[str, list[float]]:
        """Follows commands, each in force from its time to the next, under a thrust of (seconds, newtons).

        Gives ``time_s``, ``command_deg``, ``nozzle_deg``, ``tilt_deg`` and ``rate_deg_s`` at the times of the commands.
        """
        times, forces = ([float(one) for one in part] for part in thrust)

        def force(at_s: float, from_s: float, to_s: float) -> float:
            if not times or to_s <= times[0] or from_s >= times[-1]:
                return 0.0
            right = min(max(bisect_right(times, at_s), 1), len(times) - 1)
            share = (at_s - times[right - 1]) / (times[right] - times[right - 1])
            return forces[right - 1] + (forces[right] - forces[right - 1]) * share

        state = self.start(tilt_deg, rate_deg_s, float(time_s[0]))
        names = ("time_s", "command_deg", "nozzle_deg", "tilt_deg", "rate_deg_s")
        out: dict[str, list[float]] = {name: [] for name in names}
        for at, command in enumerate(command_deg):
            seen = (state.time_s, float(command), state.nozzle_deg, state.tilt_deg, state.rate_deg_s)
            for name, value in zip(names, seen):
                out[name].append(value)
            if at + 1 == len(time_s):
                break
            end = float(time_s[at + 1])
            knots = times[bisect_right(times, state.time_s) : bisect_right(times, end)]
            for knot in [*(one for one in knots if one < end), end]:
                now = state.time_s
                ends = (force(now, now, knot), force(knot, now, knot))
                self.step(state, float(command), ends, knot - now, longest_step_s)
            state.time_s = end
        return out

    def nozzle_deg(self, state: AxisState, time_s: float) -> float:
        """Nozzle angle in degrees at a time from the last arrival of a command to the next."""
        elapsed = max(0.0, time_s - state._since_s)
        away = state._from_deg - state._demand_deg
        fastest = math.inf if self.slew_deg_s is None else self.slew_deg_s
        lag = max(self.lag_s, _SHORTEST_LAG_S)
        if self.damping_ratio is not None:
            return state._demand_deg + self._swing(away, state._from_deg_s, elapsed)[0]
        reach = fastest * lag
        if abs(away) <= reach:
            return state._demand_deg + away * math.exp(-elapsed / lag)
        straight = (abs(away) - reach) / fastest
        if elapsed <= straight:
            return state._from_deg - math.copysign(fastest * elapsed, away)
        return state._demand_deg + math.copysign(reach * math.exp(-(elapsed - straight) / lag), away)

    def _swing(self, away_deg: float, rate_deg_s: float, elapsed_s: float) -> tuple[float, float]:
        """Angle from the demand and its rate after a time, of an actuator of second order: from its two poles."""
        ratio = self.damping_ratio or 1.0
        frequency = 2.0 * ratio / max(self.lag_s, _SHORTEST_LAG_S)
        if abs(ratio - 1.0) < 1e-6:
            # Two equal poles: next to them is the same to eight digits.
            ratio = 1.0 + 1e-6
        root = cmath.sqrt(ratio * ratio - 1.0)
        first, second = frequency * (root - ratio), -frequency * (root + ratio)
        of_second = (rate_deg_s - first * away_deg) / (second - first)
        parts = (away_deg - of_second) * cmath.exp(first * elapsed_s), of_second * cmath.exp(second * elapsed_s)
        return (parts[0] + parts[1]).real, (first * parts[0] + second * parts[1]).real

    def _demand(self, passed_deg: float) -> float:
        wanted = self.gain * (passed_deg + self.bias_deg)
        return wanted if self.travel_deg is None else min(max(wanted, -self.travel_deg), self.travel_deg)

    def _arrive(self, state: AxisState, time_s: float) -> None:
        while state._coming and state._coming[0][0] <= time_s:
            at_s, command = state._coming.popleft()
            angle, rate = self.nozzle_deg(state, at_s), 0.0
            if self.damping_ratio is not None:
                away, elapsed = state._from_deg - state._demand_deg, max(0.0, at_s - state._since_s)
                rate = self._swing(away, state._from_deg_s, elapsed)[1]
            state._from_deg, state._from_deg_s, state._since_s = angle, rate, at_s
            half = 0.5 * self.width_deg
            if self.dead_band == "play":
                state._passed_deg = min(max(state._passed_deg, command - half), command + half)
            elif self.dead_band == "dead-zone":
                state._passed_deg = math.copysign(max(0.0, abs(command) - half), command)
            else:
                state._passed_deg = command
            state._demand_deg = self._demand(state._passed_deg)


class _Motion:
    """Tilt and tilt rate, rad and rad/s, under the equation of tilt."""

    def __init__(self, model: AxisModel, state: AxisState, thrust_n: Callable[[float], float]) -> None:
        self.model, self.state, self.thrust_n = model, state, thrust_n
        self.tilt, self.rate = math.radians(state.tilt_deg), math.radians(state.rate_deg_s)

    def pull(self, time_s: float) -> float:
        """Angular acceleration by thrust, rad/s2."""
        model = self.model
        sine = math.sin(math.radians(model.nozzle_deg(self.state, time_s)))
        return self.thrust_n(time_s) * (model.effectiveness_per_kg_m * sine + model.thrust_bias_per_kg_m)

    def advance(self, now_s: float, step_s: float) -> None:
        """Moves on; a step in which dry friction would turn the axis round is cut there."""
        model, end_s = self.model, now_s + step_s
        friction = model.coulomb_rad_per_s2
        if friction <= 0.0:
            self.tilt, self.rate = self.moved(now_s, step_s, 0.0)
            return
        while True:
            push = self.pull(now_s) - model.damping_per_s * self.rate + model.stiffness_per_s2 * self.tilt
            if self.rate == 0.0 and abs(push) <= friction:
                return
            heading = math.copysign(1.0, self.rate or push)
            tilt, rate = self.moved(now_s, step_s, friction * heading)
            if self.rate == 0.0 or rate * heading >= 0.0:
                self.tilt, self.rate = tilt, rate
                return
            part_s = step_s * self.rate / (self.rate - rate)
            if now_s < now_s + part_s < end_s:
                self.tilt, _ = self.moved(now_s, part_s, friction * heading)
                now_s += part_s
                step_s = end_s - now_s
            self.rate = 0.0

    def moved(self, now_s: float, step_s: float, friction: float) -> tuple[float, float]:
        """Tilt and rate after one step of the classical Runge-Kutta method."""
        damping, stiffness, half = self.model.damping_per_s, self.model.stiffness_per_s2, 0.5 * step_s
        begin, middle, end = self.pull(now_s), self.pull(now_s + half), self.pull(now_s + step_s)
        x, v = self.tilt, self.rate
        v1, a1 = v, begin - damping * v + stiffness * x - friction
        v2 = v + half * a1
        a2 = middle - damping * v2 + stiffness * (x + half * v1) - friction
        v3 = v + half * a2
        a3 = middle - damping * v3 + stiffness * (x + half * v2) - friction
        v4 = v + step_s * a3
        a4 = end - damping * v4 + stiffness * (x + step_s * v3) - friction
        sixth = step_s / 6.0
        return x + sixth * (v1 + 2.0 * (v2 + v3) + v4), v + sixth * (a1 + 2.0 * (a2 + a3) + a4)


class Plant(PlantFile):
    """The plant file: the axes with every number and its uncertainty, and models of them that can be stepped.

    >>> plant = Plant.read("demo-data/twin-captive/plant.json")    # doctest: +SKIP
    """

    @classmethod
    def read(cls, path: Any) -> Plant:
        """Reads a ``plant.json``."""
        import json
        from pathlib import Path

        try:
            return cls(json.loads(Path(path).read_text(encoding="utf-8")))
        except (OSError, ValueError) as why:
            raise BurnwrightError(f"error: this is no plant file: {why}\n  in {path}") from why

    def model(self, body: Body = "rig") -> dict[str, AxisModel]:
        """The best estimate of each axis, on the rig or, as carried over, of the free rocket."""
        # An axis of which nothing is known is no reason to be without the others.
        known = [name for name, axis in self.axes.items() if axis.rig or axis.actuator.gain or axis.actuator.get("lag_plus_delay_s")]
        return {name: _model(name, self.axes[name], body) for name in known or self.axes}

    def draw(self, n: int, body: Body = "rig", seed: int = 1) -> list[dict[str, AxisModel]]:
        """``n`` plants as the true one may well be: drawn from the covariance, kept within what is physical.

        Between the axes nothing is shared. The same seed gives the same plants.
        """
        rng = random.Random(seed)
        best = self.model(body)
        roots = {name: _root(self.axes[name].covariance.raw["matrix"]) for name in best}
        return [
            {name: _drawn(model, self.axes[name], roots[name], body, rng) for name, model in best.items()}
            for _ in range(n)
        ]

    def step(
        self,
        state: Mapping[str, AxisState],
        command_deg: Mapping[str, float],
        thrust_n: float | tuple[float, float],
        step_s: float,
        model: Mapping[str, AxisModel] | None = None,
    ) -> dict[str, AxisState]:
        """Moves every axis on by ``step_s`` seconds: :meth:`AxisModel.step` for each, of the rig or of a drawn ``model``."""
        model = model or self.model()
        return {name: model[name].step(one, command_deg[name], thrust_n, step_s) for name, one in state.items()}


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _model(name: str, axis: AxisPlant, body: Body) -> AxisModel:
    actuator, rig, flight = axis.actuator, axis.rig, axis.flight
    lag, delay, together = (_number(one) for one in (actuator.lag_s, actuator.delay_s, actuator.get("lag_plus_delay_s")))
    if together is not None and (lag is None or delay is None):
        # Known only together: all of it counts as delay, which costs a loop more.
        lag, delay = _SHORTEST_LAG_S, together
    turned = (rig if body == "rig" else flight) if body in ("rig", "flight") else None
    needed = {
        "gain": _number(actuator.gain),
        "lag_s": lag,
        "delay_s": delay,
        "effectiveness_per_kg_m": _number(turned.effectiveness_per_kg_m) if turned is not None else None,
    }
    if missing := [key for key, value in needed.items() if value is None]:
        raise BurnwrightError(
            f"error: axis {name}: the plant has no {', '.join(missing)} of the {body}, and cannot be stepped without\n"
            "  hint: the findings of the reduction say what excitation would show it"
        )
    known = {key: value for key, value in needed.items() if value is not None}
    optional: dict[str, float | None] = {
        "bias_deg": _number(actuator.bias_deg),
        "thrust_bias_per_kg_m": _number(rig.thrust_bias_per_kg_m) if rig else None,
    }
    if body == "rig" and rig:
        for key in ("damping_per_s", "stiffness_per_s2", "coulomb_rad_per_s2"):
            optional[key] = _number(rig[key])
    kind = actuator.dead_band.kind
    left_out = [key for key, value in optional.items() if value is None] + ["dead_band"] * (kind is None)
    values = {key: value for key, value in optional.items() if value is not None}
    whole = rig.effectiveness_per_kg_m if rig else None
    if body == "flight" and whole is not None and whole.value != 0.0:
        # The thrust's own pull turns the free rocket in the ratio in which its nozzle does.
        ratio = known["effectiveness_per_kg_m"] / whole.value
        values["thrust_bias_per_kg_m"] = values.get("thrust_bias_per_kg_m", 0.0) * ratio
    known["lag_s"], known["delay_s"] = max(known["lag_s"], _SHORTEST_LAG_S), max(known["delay_s"], 0.0)
    values["coulomb_rad_per_s2"] = max(values.get("coulomb_rad_per_s2", 0.0), 0.0)
    return AxisModel(
        **known,
        **values,
        dead_band=kind or "none",
        width_deg=max(_number(actuator.dead_band.width_deg) or 0.0, 0.0),
        damping_ratio=_number(actuator.get("damping_ratio")),
        slew_deg_s=_number(actuator.slew_deg_s),
        travel_deg=actuator.travel_deg,
        left_out=tuple(left_out),
    )


def _root(matrix: list[list[float]]) -> list[list[float]]:
    """Lower root of a covariance (Cholesky), by way of the correlations; what rounding made negative is left out.

    >>> [[round(one, 12) for one in row] for row in _root([[4.0, 2.4], [2.4, 9.0]])]
    [[2.0, 0.0], [1.2, 2.749545416974]]
    """
    size = len(matrix)
    u = [math.sqrt(max(matrix[i][i], 0.0)) for i in range(size)]
    root = [[0.0] * size for _ in range(size)]
    for i in range(size):
        for j in range(i + 1):
            both = u[i] * u[j]
            left = (0.5 * (matrix[i][j] + matrix[j][i]) / both if both > 0.0 else 0.0) - sum(
                root[i][k] * root[j][k] for k in range(j)
            )
            if i == j:
                root[i][i] = math.sqrt(left) if left > 1e-12 else 0.0
            elif root[j][j] > 0.0:
                root[i][j] = left / root[j][j]
    return [[u[i] * one for one in row] for i, row in enumerate(root)]


def _drawn(model: AxisModel, axis: AxisPlant, root: list[list[float]], body: Body, rng: random.Random) -> AxisModel:
    normal = [rng.gauss(0.0, 1.0) for _ in root]
    by = {name: sum(a * b for a, b in zip(row, normal)) for name, row in zip(axis.covariance.raw["names"], root)}
    of_flight = rng.gauss(0.0, 1.0)
    moved = {"gain": model.gain, "bias_deg": model.bias_deg, "thrust_bias_per_kg_m": model.thrust_bias_per_kg_m}
    if body == "rig":
        moved |= {"effectiveness_per_kg_m": model.effectiveness_per_kg_m, "stiffness_per_s2": model.stiffness_per_s2}
    out: dict[str, Any] = {name: value + by.get(name, 0.0) for name, value in moved.items()}
    if body == "rig":
        for name in ("damping_per_s", "coulomb_rad_per_s2"):
            out[name] = max(0.0, getattr(model, name) + by.get(name, 0.0)) if name in by else getattr(model, name)
    elif axis.flight is not None and axis.flight.effectiveness_per_kg_m is not None:
        out["effectiveness_per_kg_m"] = model.effectiveness_per_kg_m + axis.flight.effectiveness_per_kg_m.u * of_flight
    out["lag_s"] = max(_SHORTEST_LAG_S, model.lag_s + by.get("lag_s", 0.0))
    out["delay_s"] = max(0.0, model.delay_s + by.get("delay_s", 0.0))
    if model.dead_band != "none":
        out["width_deg"] = max(0.0, model.width_deg + by.get("dead_band.width_deg", 0.0))
    if model.damping_ratio is not None:
        out["damping_ratio"] = max(0.05, model.damping_ratio + by.get("damping_ratio", 0.0))
    if model.slew_deg_s is not None:
        out["slew_deg_s"] = max(1e-3 * model.slew_deg_s, model.slew_deg_s + by.get("slew_deg_s", 0.0))
    return replace(model, **out)
