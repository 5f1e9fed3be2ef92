"""Finding the program, running it, and turning what it says on stderr into an error.

The layout of a message is the program's: a line ``error: what is wrong``, then ``at file:line:column`` or
``in file``, the line of the file, and ``hint:`` lines.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import sysconfig
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Sequence

_NAME = "burnwright.exe" if sys.platform == "win32" else "burnwright"
_AT = re.compile(r"  at (?P<file>.*):(?P<line>\d+):(?P<column>\d+)$")


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong: what, where, and what to do."""

    message: str
    severity: str = "error"
    file: str | None = None
    line: int | None = None
    column: int | None = None
    hints: list[str] = field(default_factory=list)

    @property
    def place(self) -> str | None:
        """Where, as ``file:line:column``, as much of it as is known."""
        parts = [str(part) for part in (self.file, self.line, self.column) if part is not None]
        return ":".join(parts) or None


class BurnwrightError(Exception):
    """The program refused or failed.

    ``problems`` are all that it named; ``message``, ``place`` and ``hint`` are those of the first error. The text
    is what the program prints, with the line of the file. ``exit_code`` is 1 for bad input, 2 for a wrong command
    line, and ``None`` where the program was not run.
    """

    def __init__(self, text: str, exit_code: int | None = None) -> None:
        super().__init__(text.rstrip())
        self.exit_code = exit_code
        self.problems = problems(text) or [Problem(text.strip())]
        first = next((one for one in self.problems if one.severity == "error"), self.problems[0])
        self.message = first.message
        self.place = first.place
        self.hint = first.hints[0] if first.hints else None

    __module__ = "burnwright"


def problems(text: str) -> list[Problem]:
    """The problems that a text of the program names, in its order.

    >>> problems("error: no such unit\\n  at a.toml:3:9\\n  hint: use mm")[0].place
    'a.toml:3:9'
    """
    found: list[dict[str, Any]] = []
    in_hint = False
    for line in text.splitlines():
        severity, colon, message = line.partition(": ")
        if colon and severity in ("error", "warning"):
            found.append({"message": message, "severity": severity, "hints": []})
            in_hint = False
        elif not found:
            continue
        elif at := _AT.match(line):
            found[-1] |= {"file": at["file"], "line": int(at["line"]), "column": int(at["column"])}
        elif line.startswith("  in "):
            found[-1]["file"] = line[5:]
        elif line.startswith("  hint: "):
            found[-1]["hints"].append(line[8:])
            in_hint = True
        elif in_hint and line.startswith("        "):
            found[-1]["hints"][-1] += " " + line.strip()
    return [Problem(**one) for one in found]


def program() -> Path:
    """The program that is called: ``$BURNWRIGHT`` if set, else that of this package, else that of the ``PATH``."""
    named = os.environ.get("BURNWRIGHT")
    if named:
        return Path(named)
    for scheme in (None, "posix_user", "nt_user"):
        try:
            folder = sysconfig.get_path("scripts", scheme) if scheme else sysconfig.get_path("scripts")
        except KeyError:
            continue
        if (beside := Path(folder) / _NAME).is_file():
            return beside
    if found := shutil.which("burnwright"):
        return Path(found)
    raise BurnwrightError(
        "error: the program burnwright is not there\n"
        "  hint: install the package with pip, or say where the program is in the environment variable BURNWRIGHT"
    )


def run(arguments: Sequence[str | os.PathLike[str]]) -> str:
    """Runs the program and gives what it says on stdout."""
    command = [os.fspath(program()), *(os.fspath(one) for one in arguments)]
    # One line for each hint, however narrow the terminal is.
    environment = os.environ | {"NO_COLOR": "1", "COLUMNS": "1000"}
    try:
        done = subprocess.run(command, capture_output=True, encoding="utf-8", env=environment, check=False)
    except OSError as why:
        raise BurnwrightError(f"error: the program cannot be run: {why}\n  in {command[0]}") from why
    if done.returncode not in (0, 3):
        told = done.stderr or f"error: the program ended with code {done.returncode} and said nothing"
        raise BurnwrightError(told, done.returncode)
    return done.stdout


def data(arguments: Sequence[str | os.PathLike[str]]) -> Any:
    """Runs the program and gives its results as data."""
    return json.loads(run([*arguments, "--json"]))


def version() -> str:
    """The program's version.

    >>> version().count(".")
    2
    """
    return run(["--version"]).split()[-1]
