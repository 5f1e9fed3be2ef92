"""Results as objects: quantities, and records with named fields made from the program's JSON."""

from __future__ import annotations

import difflib
import functools
import html
import math
import types
import typing
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

_KEYS = {"value", "u", "low", "high", "unit"}
#: Times below this are written in milliseconds, s; as the program does.
_SHORT_S = 0.1

T = typing.TypeVar("T")


@dataclass(frozen=True)
class Quantity:
    """A measured number: best estimate, standard uncertainty, 95 % interval, unit.

    >>> total = Quantity(59.4774, 0.0129, 59.4521, 59.5028, "N s")
    >>> print(total)
    59.477 N s (59.452 to 59.503)
    >>> f"{total:.1f}", float(total)
    ('59.5', 59.4774)
    """

    value: float
    u: float
    low: float
    high: float
    unit: str

    def __float__(self) -> float:
        return self.value

    def __format__(self, spec: str) -> str:
        return format(self.value, spec) if spec else str(self)

    def __str__(self) -> str:
        factor, unit = (1e3, "ms") if self.unit == "s" and abs(self.value) < _SHORT_S else (1.0, self.unit)
        after = "" if unit == "1" else f" {unit}"
        if not (math.isfinite(self.u) and self.u > 0.0):
            return f"{factor * self.value:.6g}{after}".replace("-", "−")
        # Two significant digits of the standard uncertainty (JCGM 100, 7.2.6).
        decimals = max(0, 1 - math.floor(math.log10(float(f"{factor * self.u:.1e}"))))
        value, low, high = (f"{factor * one:.{decimals}f}" for one in (self.value, self.low, self.high))
        return f"{value}{after} ({low} to {high})".replace("-", "−")

    def _repr_html_(self) -> str:
        return html.escape(str(self))


class Record(Mapping[str, Any]):
    """A table of a result. Fields are attributes and keys; ``raw`` is the JSON it was made from.

    A name that Python keeps for itself has an underscore behind it: ``result.class_``.
    """

    def __init__(self, raw: Mapping[str, Any]) -> None:
        self.raw = dict(raw)

    def __getitem__(self, name: str) -> Any:
        return wrapped(self.raw[name], _hints(type(self)).get(name))

    def __getattr__(self, name: str) -> Any:
        if name == "raw" or name.startswith("__"):
            raise AttributeError(name)
        key = name.removesuffix("_") if name.endswith("_") else name
        if key in self.raw:
            return self[key]
        near = difflib.get_close_matches(name, self.raw, 1)
        hint = f"; did you mean {near[0]}?" if near else f"; there are {', '.join(self.raw) or 'none'}"
        raise AttributeError(f"{type(self).__name__} has no field {name}{hint}")

    def __iter__(self) -> Iterator[str]:
        return iter(self.raw)

    def __len__(self) -> int:
        return len(self.raw)

    def __dir__(self) -> list[str]:
        return [*super().__dir__(), *self.raw]

    def __repr__(self) -> str:
        return f"{type(self).__name__}({', '.join(f'{name}={brief(one)}' for name, one in self.items())})"

    def _repr_html_(self) -> str:
        rows = (f"<tr><th>{html.escape(name)}</th><td>{html.escape(brief(one))}</td></tr>" for name, one in self.items())
        return f"<table>{''.join(rows)}</table>"


def brief(value: Any) -> str:
    """A value in a few words."""
    if isinstance(value, Quantity):
        return str(value)
    if isinstance(value, (Mapping, list)):
        return f"<{len(value)}>"
    return repr(value)


def wrapped(value: Any, hint: Any = None) -> Any:
    """A value of the JSON as an object: a quantity, a record of the class that is hinted at, a list of them."""
    if isinstance(value, dict):
        if value.keys() == _KEYS:
            return Quantity(**value)
        if isinstance(hint, type) and issubclass(hint, Record):
            return hint(value)
        return Named(value, _arguments(hint)[-1] if typing.get_origin(hint) is Named else None)
    if isinstance(value, list):
        of_each = (_arguments(hint) or (None,))[0]
        # Long lists of numbers need no wrapping.
        return [wrapped(one, of_each) if isinstance(one, (dict, list)) else one for one in value]
    return value


class Named(Record, typing.Generic[T]):
    """A table whose names are the user's: motors, axes, cells."""

    def __init__(self, raw: Mapping[str, Any], of_each: Any = None) -> None:
        super().__init__(raw)
        self._of_each = of_each

    def __getitem__(self, name: str) -> T:
        return wrapped(self.raw[name], self._of_each)  # type: ignore[no-any-return]

    if typing.TYPE_CHECKING:

        def __getattr__(self, name: str) -> T: ...


def _arguments(hint: Any) -> tuple[Any, ...]:
    return typing.get_args(hint)


@functools.cache
def _hints(of: type) -> dict[str, Any]:
    """The class of each field that is a record, with ``| None`` taken off."""

    def known(hint: Any) -> Any:
        if typing.get_origin(hint) in (typing.Union, types.UnionType):
            return next((one for one in typing.get_args(hint) if one is not type(None)), None)
        return hint

    if of is Record or of.__module__ == __name__:
        return {}
    return {name.removesuffix("_"): known(one) for name, one in typing.get_type_hints(of).items()}
