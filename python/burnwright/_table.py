"""Tables and TOML in memory, written to files for the program to read.

A table is anything with columns: a mapping of name to values, a pandas or polars frame, an Arrow table, a numpy
array with named fields. It becomes a CSV file, numbers in full, and what is missing (``None``, NaN) an empty cell.
"""

from __future__ import annotations

import csv
import datetime
import json
import os
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ._program import BurnwrightError

#: Keys of a firing file whose value is a path, or a table in its place.
FIRING_PATHS = frozenset({"file", "points", "curve", "certified", "sweep", "curves"})
#: The same of a rehearsal file; there ``file`` names what is to be written, but for a pattern's.
REHEARSAL_PATHS = frozenset({"certified", "curves"})


def is_path(value: Any) -> bool:
    """Whether something names a file."""
    return isinstance(value, (str, os.PathLike))


def is_table(value: Any) -> bool:
    """Whether something has columns.

    >>> is_table({"t": [0, 1], "n": [2, 3]}), is_table({"log": "stand", "column": "n"}), is_table([1])
    (True, False, False)
    """
    if isinstance(value, Mapping):
        return bool(value) and all(_is_column(one) for one in value.values())
    return hasattr(value, "columns") or hasattr(value, "column_names") or _fields(value) is not None


def _fields(value: Any) -> Any:
    return getattr(getattr(value, "dtype", None), "names", None)


def _is_column(value: Any) -> bool:
    return not isinstance(value, (str, bytes, Mapping)) and (isinstance(value, Sequence) or hasattr(value, "tolist"))


def _values(column: Any) -> list[Any]:
    for way in ("to_list", "tolist", "to_pylist"):
        if hasattr(column, way):
            return list(getattr(column, way)())
    return list(column)


def _cell(value: Any) -> Any:
    missing = value is None or value != value or str(value) in ("NaT", "<NA>")
    return "" if missing else value


def write_table(table: Any, path: Path) -> Path:
    """Writes a table as a CSV file.

    >>> import tempfile
    >>> file = write_table({"t_s": [0.0, 0.1], "n": [None, 2]}, Path(tempfile.mkdtemp()) / "log.csv")
    >>> file.read_text().split()
    ['t_s,n', '0.0,', '0.1,2']
    """
    names = _fields(table) or getattr(table, "column_names", None) or getattr(table, "columns", None)
    if isinstance(table, Mapping) or names is None:
        names = table.keys()
    columns = {str(name): _values(table[name]) for name in names}
    lengths = {name: len(values) for name, values in columns.items()}
    if len(set(lengths.values())) > 1:
        raise BurnwrightError(f"error: the columns of a table have different lengths: {lengths}")
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(map(_cell, row) for row in zip(*columns.values()))
    return path


def read_toml(path: str | os.PathLike[str]) -> dict[str, Any]:
    """A firing or rehearsal file as a dict to be changed and given to :func:`reduce` or :func:`rehearse`.

    Paths in it are made absolute, so that it no longer depends on its folder.

    >>> rehearsal = read_toml("demo-data/twin-captive/REHEARSAL.toml")
    >>> rehearsal["computer"]["axis"]["pitch"]["kp"]
    0.45
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as why:
        raise BurnwrightError(f"error: the file cannot be read: {why.strerror}\n  in {path}") from why
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as why:
        raise BurnwrightError(f"error: this is not TOML: {why}\n  in {path}") from why
    paths = REHEARSAL_PATHS if "recorder" in table else FIRING_PATHS
    out = placed(table, paths, path.resolve().parent, None)
    assert isinstance(out, dict)
    return out


def placed(value: Any, paths: frozenset[str], folder: Path, into: Path | None, name: str = "", within: str = "") -> Any:
    """A value of a file with its paths made absolute and its tables written into a folder, if there is one."""
    path_here = name in paths or (name == "file" and within == "pattern")
    if path_here and is_path(value):
        return str(folder / value)
    if into is not None and path_here and is_table(value):
        taken = sum(1 for _ in into.glob("*.csv"))
        return str(write_table(value, into / f"{taken + 1}-{within or name}.csv"))
    if isinstance(value, Mapping):
        return {key: placed(one, paths, folder, into, key, name) for key, one in value.items()}
    if isinstance(value, list):
        return [placed(one, paths, folder, into) for one in value]
    return value


def toml_text(table: Mapping[str, Any]) -> str:
    """A table as TOML.

    >>> print(toml_text({"title": "a \\"b\\"", "axis": {"pitch": {"gain": 0.9, "says": {"on": True}}}}), end="")
    title = "a \\"b\\""
    axis = {pitch = {gain = 0.9, says = {on = true}}}
    """
    return "".join(f"{_key(name)} = {_value(one)}\n" for name, one in table.items() if one is not None)


def _key(name: str) -> str:
    bare = name.replace("_", "").replace("-", "")
    return name if bare.isascii() and bare.isalnum() else json.dumps(name, ensure_ascii=False)


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(name)} = {_value(one)}" for name, one in value.items() if one is not None)
        return "{" + inside + "}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(_value, value)) + "]"
    if is_path(value):
        return json.dumps(os.fspath(value), ensure_ascii=False).replace("\x7f", "\\u007f")
    raise BurnwrightError(f"error: a {type(value).__name__} cannot stand in a TOML file: {value!r}")
