"""The commands of the program as functions.

Files are given as paths, or from memory: a firing, rehearsal or vehicle file as a dict (:func:`read_toml`), a log or
calibration points as a table. Quantities of options are text with a unit, as on the command line: ``"200 Hz"``.

The files of a result lie in its ``folder``: that of ``out``, or one that goes when the result does. ``save`` copies
them.
"""

from __future__ import annotations

import csv
import html
import json
import os
import shutil
import tempfile
import weakref
from array import array
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Literal

from . import _program, results
from ._program import BurnwrightError
from ._record import Quantity, Record
from ._table import FIRING_PATHS, REHEARSAL_PATHS, is_path, is_table, placed, read_toml, toml_text, write_table
from .plant import Plant

#: A file: its path, or what stands in it.
FileOrTable = str | os.PathLike[str] | Mapping[str, Any]
PathLike = str | os.PathLike[str]


class _Folder:
    """A folder for results: the caller's, or one that goes with the object."""

    def __init__(self, out: PathLike | None = None) -> None:
        self.path = Path(tempfile.mkdtemp(prefix="burnwright-") if out is None else out)
        if out is None:
            weakref.finalize(self, shutil.rmtree, self.path, ignore_errors=True)


class _Kept:
    """What keeps the files of a result."""

    _kept: _Folder

    @property
    def folder(self) -> Path:
        """Where the files of this result lie."""
        return self._kept.path

    def save(self, folder: PathLike) -> Path:
        """Copies the files of this result into a folder."""
        return Path(shutil.copytree(self.folder, folder, dirs_exist_ok=True))


def _result(cls: Any, raw: Any, kept: _Folder) -> Any:
    if not isinstance(raw, dict) or raw.get("schema", 1) != 1:
        raise BurnwrightError(
            "error: the program's results are of a kind that this module does not know\n"
            "  hint: install program and module from one package"
        )
    out = cls(raw)
    out._kept = kept
    return out


def _options(**named: Any) -> list[str]:
    """Keywords as options of the command line.

    >>> _options(tilt_limit="30 deg", share_all=True, seed=None, differ=["gain"])
    ['--tilt-limit=30 deg', '--share-all', '--differ=gain']
    """
    out: list[str] = []
    for name, value in named.items():
        flag = "--" + name.replace("_", "-")
        if value is True:
            out.append(flag)
        elif isinstance(value, (list, tuple)):
            out += [f"{flag}={one}" for one in value]
        elif value is not None and value is not False:
            out.append(f"{flag}={os.fspath(value) if is_path(value) else value}")
    return out


def _file(of: FileOrTable, paths: frozenset[str], into: Path, name: str) -> Path:
    """A file as it is, or written from a dict into a folder."""
    if is_path(of):
        return Path(os.fspath(of))  # type: ignore[arg-type]
    if not isinstance(of, Mapping):
        raise BurnwrightError(f"error: a {type(of).__name__} is no path and no dict: {of!r}")
    into.mkdir(parents=True, exist_ok=True)
    file = into / name
    file.write_text(toml_text(placed(of, paths, Path.cwd(), into)), encoding="utf-8")
    return file


def _firing(of: FileOrTable, into: Path, logs: Mapping[str, Any] | None = None) -> Path:
    if logs:
        whole = dict(read_toml(of) if is_path(of) else of)  # type: ignore[arg-type]
        whole["log"] = dict(whole.get("log", {}))
        for name, table in logs.items():
            # The clock's unit and the like stay as the firing file says.
            whole["log"][name] = dict(whole["log"].get(name, {})) | {"file": table}
        of = whole
    return _file(of, FIRING_PATHS, into, "firing.toml")


class Thrust(Mapping[str, Any]):
    """Thrust over time as arrays, by name or as attributes, ready for a data frame: ``pandas.DataFrame(dict(thrust))``.

    ``time_s`` seconds since ignition, ``thrust_n`` newtons, ``u_n`` its standard uncertainty; ``thrust_NAME_n`` of each
    motor that can be told apart; ``read_n`` as it was read, where the stand's ringing was corrected. numpy arrays
    where numpy is installed, else ``array.array``.
    """

    def __init__(self, columns: Mapping[str, Any]) -> None:
        self._columns = dict(columns)

    def __getitem__(self, name: str) -> Any:
        return self._columns[name]

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_") or name not in self._columns:
            raise AttributeError(f"there is no column {name}; there are {', '.join(self.__dict__.get('_columns', {}))}")
        return self._columns[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._columns)

    def __len__(self) -> int:
        return len(self._columns)

    def __repr__(self) -> str:
        return f"Thrust({', '.join(self._columns)}; {len(next(iter(self._columns.values()), []))} rows)"

    def _repr_html_(self) -> str:
        return curve(self["time_s"], self["thrust_n"], "thrust, N, over seconds since ignition")

    @classmethod
    def read(cls, path: PathLike) -> Thrust:
        """Reads a ``thrust.csv``."""
        with open(path, encoding="utf-8", newline="") as file:
            names, *rows = csv.reader(file)
        return cls({name: numbers(row[at] for row in rows) for at, name in enumerate(names)})


def numbers(texts: Any) -> Any:
    """Numbers as an array; what is empty is NaN."""
    values = array("d", (float(one) if one else float("nan") for one in texts))
    try:
        import numpy
    except ImportError:
        return values
    return numpy.array(values)


def curve(x: Any, y: Any, says: str, width: int = 600, height: int = 160) -> str:
    """A curve as SVG: of each column of pixels its least and greatest value."""
    points = [(float(a), float(b)) for a, b in zip(x, y) if a == a and b == b]
    if len(points) < 2:
        return ""
    left, right = points[0][0], points[-1][0]
    low, high = min(0.0, min(b for _, b in points)), max(b for _, b in points)
    scale = (width - 1) / ((right - left) or 1.0), (height - 20) / ((high - low) or 1.0)
    columns: dict[int, list[float]] = {}
    for a, b in points:
        columns.setdefault(int((a - left) * scale[0]), []).append(b)
    drawn = " ".join(
        f"{column},{height - 15 - (one - low) * scale[1]:.1f}"
        for column, values in columns.items()
        for one in sorted({min(values), max(values)})
    )
    text = html.escape(f"{says}; {left:.3g} to {right:.3g}, {low:.3g} to {high:.3g}")
    return (
        f'<svg width="{width}" height="{height}" viewBox="0 0 {width} {height}" role="img">'
        f'<polyline points="{drawn}" fill="none" stroke="#005a9c" stroke-width="1.5"/>'
        f'<text x="2" y="{height - 2}" font-size="11">{text}</text></svg>'
    )


class Reduction(_Kept, results.FiringResult):
    """A reduced firing: all that ``result.json`` holds, with ``thrust`` as arrays and ``plant`` to be stepped.

    ``thrust_report`` has peak and average thrust. In a notebook it shows its numbers and draws its thrust.
    """

    @property
    def thrust_report(self) -> results.ThrustReport | None:
        """Peak and average thrust, N."""
        found: results.ThrustReport | None = self["thrust"]
        return found

    @property
    def thrust(self) -> Thrust:  # type: ignore[override]
        """Thrust over time."""
        file = self.folder / "thrust.csv"
        return Thrust.read(file) if file.exists() else Thrust({"time_s": numbers([]), "thrust_n": numbers([])})

    @property
    def plant(self) -> Plant | None:  # type: ignore[override]
        """The plant model; ``None`` when no axis could be fitted."""
        file = self.folder / "plant.json"
        return Plant.read(file) if file.exists() else None

    @property
    def report(self) -> Path:
        """The page, to be opened in a browser."""
        return self.folder / "report.html"

    def all_findings(self) -> list[results.Finding]:
        """The findings of every stage."""
        of_class = self.class_.findings if self.class_ else []
        return [*self.findings, *of_class, *(one for axis in self["plant"].values() for one in axis.findings)]

    def quantities(self) -> dict[str, Quantity]:
        """The quantities of the firing and its motors by path, such as ``impulse.total_ns``."""
        return dict(_quantities({name: self[name] for name in ("burn", "thrust", "impulse", "motors", "ignition")}))

    def _repr_html_(self) -> str:
        rows = (f"<tr><td>{html.escape(name)}</td><td>{html.escape(str(one))}</td></tr>" for name, one in self.quantities().items())
        wrong = [one for one in self.all_findings() if one.outcome != "holds"]
        told = "".join(f"<li>{html.escape(one.outcome)}: {html.escape(one.claim)}</li>" for one in wrong)
        drawn = self.thrust._repr_html_()
        return f"<b>{html.escape(self.title)}</b><ul>{told}</ul>{drawn}<table>{''.join(rows)}</table>"


def _quantities(table: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Quantity]]:
    for name, value in table.items():
        if isinstance(value, Quantity):
            yield before + name, value
        elif isinstance(value, Mapping):
            yield from _quantities(value, f"{before}{name}.")


class Look(_Kept, results.LookFile):
    """What is in logs: columns, clocks, what burnt."""


class Calibration(_Kept, Record):
    """A judged calibration; ``curve`` is the curve file that a firing file names."""

    @property
    def curve(self) -> Path:
        """The curve file."""
        return self.folder / "curve.toml"


class Comparison(_Kept, Record):
    """Firings side by side; ``spread("total impulse")`` has mean, prediction and tolerance interval."""

    def spread(self, name: str) -> Any:
        """How a quantity scatters over the firings; ``None`` where fewer than two have it."""
        for one in self["quantities"]:
            if one["name"] == name:
                return one["spread"]
        raise KeyError(f"{name}; there are {', '.join(one['name'] for one in self['quantities'])}")


class Fit(_Kept, Record):
    """One plant of several firings; ``plant`` can be stepped."""

    @property
    def plant(self) -> Plant:
        """The common plant."""
        return Plant.read(self.folder / "plant.json")


class Gains(_Kept, results.GainsFile):
    """Controller gains; ``folder`` has ``gains.json``, ``gains.h``, ``controller.h`` and check vectors."""


class Simulation(_Kept, results.SimulationFile):
    """Plant and gains flown."""


class Plan(_Kept, Record):
    """What a firing to come will tell, or the pattern that tells most."""


class Rehearsal(_Kept, Record):
    """A made-up firing: its truth, and the files a real one leaves."""

    @property
    def firing(self) -> Path:
        """The firing file."""
        return self.folder / "firing.toml"

    def reduce(self) -> Reduction:
        """Reduces it."""
        return reduce(self.firing)


def reduce(
    firing: FileOrTable = "firing.toml", *, logs: Mapping[str, Any] | None = None, out: PathLike | None = None
) -> Reduction:
    """Reduces a captive firing.

    ``firing`` is a firing file or its content as a dict. ``logs`` puts tables in memory in place of recorders' files, by
    the name of the log; the dict may hold tables in the place of any path.

    >>> import csv
    >>> with open("demo-data/twin-captive/stand.csv") as file:
    ...     rows = list(csv.DictReader(file))
    >>> table = {name: [row[name] for row in rows] for name in rows[0]}
    >>> print(reduce("demo-data/twin-captive/firing.toml", logs={"stand": table}).burn.burn_time_s)
    2.11665 s (2.11549 to 2.11782)
    """
    kept, inputs = _Folder(out), _Folder()
    file = _firing(firing, inputs.path, logs)
    raw = _program.data(["reduce", file, f"--out={kept.path}"])
    return _result(Reduction, raw, kept)  # type: ignore[no-any-return]


def look(*logs: Any, rate: str | None = None) -> Look:
    """Looks into logs: paths or tables. ``rate`` such as ``"80 Hz"`` for logs without a time column.

    >>> look("demo-data/twin-captive/stand.csv").logs[0].columns[1].name
    'base_raw'
    """
    kept = _Folder()
    files = [Path(one) if is_path(one) else write_table(one, kept.path / f"log-{at + 1}.csv") for at, one in enumerate(logs)]
    return _result(Look, _program.data(["look", *files, *_options(rate=rate)]), kept)  # type: ignore[no-any-return]


def calibrate(
    points: Any,
    *,
    masses: str | None = None,
    latitude: str | None = None,
    altitude: str | None = None,
    gravity: str | None = None,
    out: PathLike | None = None,
) -> Calibration:
    """Fits a curve to points: a points file, or a table with ``raw`` and one of ``mass_g``, ``mass_kg``, ``force_n``,
    ``force_lbf``, ``angle_deg``. ``masses`` is the tolerance the weights share (``"0.02 %"``). The curve file goes into
    the folder ``out``.

    >>> calibrate("demo-data/twin-captive/cell-base-points.csv", latitude="52.1 deg").degree
    2
    """
    kept = _Folder(out)
    kept.path.mkdir(parents=True, exist_ok=True)
    file = Path(points) if is_path(points) else write_table(points, kept.path / "points.csv")
    options = _options(masses=masses, latitude=latitude, altitude=altitude, gravity=gravity)
    raw = _program.data(["calibrate", file, f"--out={kept.path / 'curve.toml'}", *options])
    return _result(Calibration, raw, kept)  # type: ignore[no-any-return]


def _several(command: str, firings: tuple[FileOrTable, ...], kept: _Folder, options: list[str]) -> Any:
    inputs = _Folder()
    files = [_firing(one, inputs.path / str(at)) for at, one in enumerate(firings)]
    return _program.data([command, *files, f"--out={kept.path}", *options])


def compare(*firings: FileOrTable, out: PathLike | None = None) -> Comparison:
    """Sets two firings or more side by side.

    >>> both = compare("demo-data/twin-captive/firing.toml", "demo-data/twin-one-dead/firing.toml")
    >>> [one.lit_count for one in both.firings]
    [2, 1]
    """
    kept = _Folder(out)
    return _result(Comparison, _several("compare", firings, kept, []), kept)  # type: ignore[no-any-return]


def fit(
    *firings: FileOrTable, differ: list[str] | None = None, share_all: bool = False, out: PathLike | None = None
) -> Fit:
    """Fits one plant to two firings or more of one rig. ``differ`` names parameters that may differ between firings;
    ``share_all`` takes the thrust bias, too, as one number.

    >>> one = fit("demo-data/twin-captive/firing.toml", "demo-data/twin-one-dead/firing.toml")
    >>> round(one.plant.model()["pitch"].gain, 2)
    0.93
    """
    kept = _Folder(out)
    raw = _several("fit", firings, kept, _options(differ=differ, share_all=share_all))
    return _result(Fit, raw, kept)  # type: ignore[no-any-return]


def _plant_file(plant: Any, into: Path) -> Path:
    if is_path(plant):
        return Path(plant)
    if isinstance(plant, (Reduction, Fit)):
        return plant.folder / "plant.json"
    into.mkdir(parents=True, exist_ok=True)
    file = into / "plant.json"
    file.write_text(json.dumps(plant.raw if isinstance(plant, Record) else plant), encoding="utf-8")
    return file


def tune(
    plant: Any,
    *,
    body: Literal["flight", "rig"] | None = None,
    rate: str | None = None,
    latency: str | None = None,
    derivative: Literal["rate", "difference"] | None = None,
    filter: str | None = None,
    sensitivity: float | None = None,
    limit: str | None = None,
    slew: str | None = None,
    tilt_noise: str | None = None,
    rate_noise: str | None = None,
    thrust_from: str | None = None,
    schedule: Literal["when-needed", "always", "never"] | None = None,
    start: Literal["shipped", "measurement", "seeded", "zero-error"] | None = None,
    first_tilt: str | None = None,
    seed: int | None = None,
    out: PathLike | None = None,
) -> Gains:
    """Finds gains for a plant: a ``plant.json``, a :class:`Plant`, a :class:`Reduction` or a :class:`Fit`.

    Options as on the command line (``burnwright tune --help``): ``rate`` of the firmware's loop, ``"200 Hz"``;
    ``latency`` and ``filter`` times; ``limit``, ``tilt_noise`` and ``first_tilt`` angles; ``slew`` and ``rate_noise`` in
    deg/s.

    >>> gains = tune(reduce("demo-data/twin-captive/firing.toml"), rate="200 Hz")
    >>> gains.axes.pitch.controller.period_s
    0.005
    """
    options = {name: value for name, value in locals().items() if name not in ("plant", "out")}
    kept, inputs = _Folder(out), _Folder()
    raw = _program.data(["tune", _plant_file(plant, inputs.path), f"--out={kept.path}", *_options(**options)])
    return _result(Gains, raw, kept)  # type: ignore[no-any-return]


def simulate(
    plant: Any,
    gains: PathLike | Gains | None = None,
    *,
    vehicle: FileOrTable | None = None,
    firing: FileOrTable | None = None,
    runs: int | None = None,
    seed: int | None = None,
    run: int | None = None,
    tilt_limit: str | None = None,
    out: PathLike | None = None,
) -> Simulation:
    """Flies plant and gains: the best estimate, ``runs`` sampled flights, and with ``firing`` the captive firing again.

    ``vehicle`` is a vehicle file or its content as a dict; ``tilt_limit`` the tilt beyond which a flight is lost,
    ``"30 deg"``. Without ``gains`` those beside the plant file are taken.

    >>> firing = reduce("demo-data/twin-captive/firing.toml")
    >>> simulate(firing, tune(firing), runs=20).axes.pitch.many.beyond
    0
    """
    kept, inputs = _Folder(out), _Folder()
    options = _options(
        gains=gains.folder / "gains.json" if isinstance(gains, Gains) else gains,
        vehicle=None if vehicle is None else _file(vehicle, frozenset(), inputs.path / "v", "vehicle.toml"),
        firing=None if firing is None else _firing(firing, inputs.path / "f"),
        runs=runs,
        seed=seed,
        run=run,
        tilt_limit=tilt_limit,
        out=kept.path,
    )
    raw = _program.data(["simulate", _plant_file(plant, inputs.path), *options])
    return _result(Simulation, raw, kept)  # type: ignore[no-any-return]


def plan(
    firing: FileOrTable = "firing.toml",
    *,
    draws: int | None = None,
    rest: PathLike | None = None,
    pattern: bool = False,
    out: PathLike | None = None,
) -> Plan:
    """What a firing to come will tell, before the motors are spent; with ``pattern`` the test pattern that tells most.

    ``draws`` rehearsals are made; ``rest`` is a log of the stand at rest, for its noise.
    """
    kept, inputs = _Folder(out), _Folder()
    file = _firing(firing, inputs.path)
    options = _options(draws=draws, rest=rest, pattern=pattern, out=kept.path)
    return _result(Plan, _program.data(["plan", file, *options]), kept)  # type: ignore[no-any-return]


def rehearse(rehearsal: FileOrTable, *, seed: int | None = None, out: PathLike | None = None) -> Rehearsal:
    """Makes up a firing with known truth: from a rehearsal file, or its content as a dict.

    >>> made = rehearse("demo-data/twin-captive/REHEARSAL.toml", seed=7)
    >>> made.plant.pitch.gain, made.firing.name
    (0.93, 'firing.toml')
    """
    kept, inputs = _Folder(out), _Folder()
    file = _file(rehearsal, REHEARSAL_PATHS, inputs.path, "REHEARSAL.toml")
    raw = _program.data(["rehearse", file, *_options(seed=seed, out=kept.path)])
    return _result(Rehearsal, raw, kept)  # type: ignore[no-any-return]


def archive(*folders: PathLike, out: PathLike) -> Path:
    """Gathers a season of reduced firings under some folders into tables that any data engine reads.

    Gives the folder ``out``, with ``firings.parquet``, ``motors.parquet``, ``thrust.parquet`` and the same as JSON lines.
    """
    _program.run(["archive", *folders, f"--out={os.fspath(out)}", "--quiet"])
    return Path(out)
