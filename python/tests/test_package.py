"""Documentation that runs, typed classes that follow the schemas, and the example notebook."""

import doctest
import importlib
import importlib.util
import os
import re
import sys
import unittest

import burnwright

from repository import DEMO, ROOT

MODULES = ("", "._program", "._record", "._table", ".commands", ".plant")


def load_tests(loader: unittest.TestLoader, tests: unittest.TestSuite, _: object) -> unittest.TestSuite:
    """Adds the examples of the docstrings; they start from the repository's folder."""
    os.chdir(ROOT)
    for name in MODULES:
        module = importlib.import_module("burnwright" + name)
        tests.addTests(doctest.DocTestSuite(module, optionflags=doctest.IGNORE_EXCEPTION_DETAIL))
    return tests


class Package(unittest.TestCase):
    def test_the_typed_classes_follow_the_schemas(self) -> None:
        made = ROOT / "python" / "tools" / "result_types.py"
        spec = importlib.util.spec_from_file_location("result_types", made)
        assert spec and spec.loader
        tool = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(tool)
        self.assertEqual(tool.made(), tool.TARGET.read_text(), f"run: python {made.relative_to(ROOT)}")

    def test_every_name_that_is_shown_is_explained(self) -> None:
        for name in burnwright.__all__:
            self.assertTrue((getattr(burnwright, name).__doc__ or "").strip(), name)

    def test_importing_needs_nothing_outside_the_standard_library(self) -> None:
        import subprocess

        code = "import sys, burnwright; print([m for m in ('numpy', 'pandas', 'polars') if m in sys.modules])"
        said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        self.assertEqual(said.stdout.strip(), "[]")

    def test_the_example_of_the_guide_runs(self) -> None:
        text = (ROOT / "docs" / "guide.md").read_text(encoding="utf-8")
        (script,) = re.findall(r"```python module\n(.*?)```", text, re.DOTALL)
        made = burnwright.reduce(DEMO / "firing.toml")
        said: list[str] = []
        exec(script.replace("designed/reduced", str(made.folder)), {"print": said.append})
        tilt, (low, high) = float(said[0].split()[0]), (float(one) for one in said[1].split(" deg")[0].split(" to "))
        self.assertTrue(low < tilt < high and high - low < 0.2 * tilt, said)

    @unittest.skipUnless(os.environ.get("CI") or importlib.util.find_spec("nbclient"), "nbclient is not installed")
    def test_the_example_notebook_runs_and_shows_what_it_claims(self) -> None:
        import nbclient
        import nbformat

        path = ROOT / "python" / "examples" / "pattern_sweep.ipynb"
        book = nbformat.read(path, as_version=4)
        nbclient.NotebookClient(book, timeout=300, resources={"metadata": {"path": str(ROOT)}}).execute()
        outputs = [one for cell in book.cells if cell.cell_type == "code" for one in cell.outputs]
        self.assertTrue(any("image/png" in one.get("data", {}) for one in outputs), "no plot")
        self.assertTrue(any("text/html" in one.get("data", {}) for one in outputs), "no table that draws itself")
        self.assertFalse([one for one in outputs if one.output_type == "error"])


if __name__ == "__main__":
    unittest.main()
