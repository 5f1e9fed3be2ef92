"""Reduce captive firings of motor-steered model rockets, from Python.

The work is done by the program ``burnwright``, which comes in the same package; this module calls it and
gives its results as objects. Nothing outside the standard library is needed. numpy arrays are given where
numpy is installed, and logs may be pandas or polars frames, numpy arrays or dicts of lists.

>>> firing = reduce("demo-data/twin-captive/firing.toml")
>>> print(firing.impulse.total_ns)
59.477 N s (59.452 to 59.503)
>>> firing.motors.left.lit
'lit'
>>> round(max(firing.thrust.thrust_n))
51

A quantity has ``value``, ``u`` (standard uncertainty), ``low`` and ``high`` (the 95 % interval) and ``unit``.
What a record cannot tell is ``None``. Names end in their unit: ``_s`` seconds, ``_n`` newtons, ``_ns`` newton
seconds, ``_deg`` degrees.

What is wrong with a firing is a :class:`BurnwrightError`, with place and hint:

>>> reduce({"title": "empty", "log": {"stand": {"fil": "stand.csv"}}})
Traceback (most recent call last):
burnwright.BurnwrightError: ...

A result says nothing of whether anything may be fired or flown.
"""

from ._program import BurnwrightError, Problem, program, version
from ._record import Quantity, Record
from ._table import read_toml
from .commands import (
    Calibration,
    Comparison,
    Fit,
    Gains,
    Look,
    Plan,
    Reduction,
    Rehearsal,
    Simulation,
    Thrust,
    archive,
    calibrate,
    compare,
    fit,
    look,
    plan,
    reduce,
    rehearse,
    simulate,
    tune,
)
from .plant import AxisModel, AxisState, Plant

__all__ = [
    "AxisModel",
    "AxisState",
    "BurnwrightError",
    "Calibration",
    "Comparison",
    "Fit",
    "Gains",
    "Look",
    "Plan",
    "Plant",
    "Problem",
    "Quantity",
    "Record",
    "Reduction",
    "Rehearsal",
    "Simulation",
    "Thrust",
    "archive",
    "calibrate",
    "compare",
    "fit",
    "look",
    "plan",
    "program",
    "read_toml",
    "reduce",
    "rehearse",
    "simulate",
    "tune",
    "version",
]
