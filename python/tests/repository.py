"""Where the repository's files are. The tests run as ``python -m unittest discover -s python/tests`` with the package
installed; ``BURNWRIGHT`` may name another program than the installed one."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "demo-data" / "twin-captive"
