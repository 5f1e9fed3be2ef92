"""Commands from Python: results, tables in memory, errors, pictures."""

import csv
import json
import re
import subprocess
import tempfile
import unittest
from pathlib import Path
from unittest import mock

import burnwright
from burnwright import BurnwrightError, Quantity

from repository import DEMO


def columns(path: Path) -> dict[str, list[float]]:
    with open(path, newline="") as file:
        rows = list(csv.DictReader(file))
    return {name: [float(row[name] or "nan") for row in rows] for name in rows[0]}


class Reducing(unittest.TestCase):
    @classmethod
    def setUpClass(cls) -> None:
        cls.beside = sorted(DEMO.iterdir())
        cls.firing = burnwright.reduce(DEMO / "firing.toml")

    def test_a_result_is_that_of_the_program(self) -> None:
        with tempfile.TemporaryDirectory() as folder:
            subprocess.run(
                [burnwright.program(), "reduce", DEMO / "firing.toml", "--out", folder], check=True, capture_output=True
            )
            for name in ("result.json", "thrust.csv", "plant.json"):
                self.assertEqual((self.firing.folder / name).read_bytes(), (Path(folder) / name).read_bytes(), name)
            told = json.loads((Path(folder) / "result.json").read_text())
        self.assertEqual(self.firing.raw, told)
        self.assertEqual(self.firing.impulse.total_ns.u, told["impulse"]["total_ns"]["u"])
        self.assertEqual(sorted(DEMO.iterdir()), self.beside, "nothing is left beside the firing file")

    def test_quantities_read_as_the_program_writes_them(self) -> None:
        with tempfile.TemporaryDirectory() as folder:
            said = subprocess.run(
                [burnwright.program(), "reduce", DEMO / "firing.toml", "--full", "--out", folder],
                check=True,
                capture_output=True,
                encoding="utf-8",
            ).stdout
        written = re.sub(r"\s+", " ", said)
        for one in (self.firing.impulse.total_ns, self.firing.burn.burn_time_s, self.firing.plant.axes.pitch.actuator.lag_s):
            self.assertIn(str(one), written)

    def test_fields_are_of_their_classes_and_a_wrong_one_names_the_nearest(self) -> None:
        self.assertIsInstance(self.firing.motors.left, burnwright.commands.results.MotorReport)
        self.assertEqual(self.firing.class_.letter, self.firing["class"]["letter"])
        self.assertIn("total_ns", dir(self.firing.impulse))
        with self.assertRaisesRegex(AttributeError, "did you mean total_ns"):
            _ = self.firing.impulse.total_n
        self.assertTrue(all(one.outcome in ("holds", "fails", "undecided") for one in self.firing.all_findings()))

    def test_thrust_comes_as_arrays(self) -> None:
        thrust = self.firing.thrust
        self.assertEqual(len(thrust.time_s), len(thrust.thrust_left_n))
        area = sum(
            0.5 * (thrust.thrust_n[at] + thrust.thrust_n[at + 1]) * (thrust.time_s[at + 1] - thrust.time_s[at])
            for at in range(len(thrust.time_s) - 1)
        )
        # Rest at both ends adds its noise, nothing else.
        self.assertAlmostEqual(area, self.firing.impulse.total_ns.value, delta=0.3)
        with self.assertRaises(AttributeError):
            _ = thrust.thrust_middle_n

    def test_it_draws_itself(self) -> None:
        page = self.firing._repr_html_()
        self.assertIn("<svg", page)
        self.assertIn("59.477 N s (59.452 to 59.503)", page)
        self.assertNotIn("<script", burnwright.Record({"title": "<script>"})._repr_html_())

    def test_tables_in_memory_give_the_same_numbers(self) -> None:
        stand = columns(DEMO / "stand.csv")
        # The clock counts whole microseconds.
        stand["t_us"] = [int(one) for one in stand["t_us"]]
        tables = {"dict": stand}
        for name in ("numpy", "pandas", "polars"):
            try:
                module = __import__(name)
            except ImportError:
                continue
            if name == "numpy":
                tables[name] = module.rec.fromarrays(list(stand.values()), names=list(stand))
            else:
                tables[name] = module.DataFrame(stand)
        for name, table in tables.items():
            with self.subTest(name):
                again = burnwright.reduce(DEMO / "firing.toml", logs={"stand": table})
                self.assertEqual(again.impulse.raw, self.firing.impulse.raw)

    def test_a_firing_may_be_a_dict_with_tables_in_it(self) -> None:
        firing = burnwright.read_toml(DEMO / "firing.toml")
        with open(DEMO / "cell-base-points.csv", newline="") as file:
            rows = list(csv.DictReader(file))
        firing["cell"]["base"]["points"] = {name: [row[name] for row in rows] for name in rows[0]}
        again = burnwright.reduce(firing)
        self.assertEqual(again.impulse.total_ns, self.firing.impulse.total_ns)

    def test_a_missing_reading_is_an_empty_cell(self) -> None:
        table = {"t_s": [0.01 * at for at in range(200)], "load": [None if at == 100 else float(at % 7) for at in range(200)]}
        seen = burnwright.look(table)
        self.assertEqual(seen.logs[0].tally.rows_read, 200)
        self.assertEqual(seen.logs[0].columns[1].readings, 199)


class Commands(unittest.TestCase):
    def test_from_reduction_to_flights_and_back(self) -> None:
        firing = burnwright.reduce(DEMO / "firing.toml")
        gains = burnwright.tune(firing.plant, rate="200 Hz")
        flown = burnwright.simulate(firing, gains, runs=20, vehicle={"vehicle": {"mass": "1.18 kg"}}, firing=DEMO / "firing.toml")
        self.assertEqual(flown.axes.pitch.many.runs, 20)
        self.assertIsNotNone(flown.axes.pitch.replay)
        with tempfile.TemporaryDirectory() as folder:
            gains.save(folder)
            self.assertTrue((Path(folder) / "check-vectors.csv").exists())

    def test_several_firings(self) -> None:
        other = DEMO.parent / "twin-one-dead" / "firing.toml"
        both = burnwright.compare(DEMO / "firing.toml", other)
        self.assertIsInstance(both.spread("total impulse").mean, Quantity)
        fitted = burnwright.fit(DEMO / "firing.toml", other)
        self.assertEqual(sorted(fitted.plant.model()), ["pitch", "yaw"])

    def test_a_rehearsal_from_a_dict_differs_by_what_was_changed(self) -> None:
        rehearsal = burnwright.read_toml(DEMO / "REHEARSAL.toml")
        rehearsal["axis"]["pitch"]["gain"] = 0.5
        made = burnwright.rehearse(rehearsal, seed=3)
        found = made.reduce().plant.axes.pitch.actuator.gain
        self.assertEqual(made.plant.pitch.gain, 0.5)
        self.assertAlmostEqual(found.value, 0.5, delta=5 * found.u)

    def test_a_calibration_keeps_its_curve(self) -> None:
        judged = burnwright.calibrate(DEMO / "cell-base-points.csv", masses="0.02 %", latitude="52.1 deg")
        self.assertIn("coefficients", judged.curve.read_text())

    def test_a_plan_expects_what_the_firing_got(self) -> None:
        expected = burnwright.plan(DEMO / "firing.toml", draws=2).cases[0].results
        impulse = next(one for one in expected if one.name == "total impulse")
        got = burnwright.reduce(DEMO / "firing.toml").impulse.total_ns
        self.assertAlmostEqual(impulse.median / (1.96 * got.u), 1.0, delta=0.3)


class Errors(unittest.TestCase):
    def test_an_error_has_place_and_hint(self) -> None:
        firing = burnwright.read_toml(DEMO / "firing.toml")
        firing["cell"]["base"]["signal"]["column"] = "base_rw"
        with self.assertRaises(BurnwrightError) as caught:
            burnwright.reduce(firing)
        error = caught.exception
        self.assertEqual((error.exit_code, len(error.problems)), (1, 1))
        self.assertIn('no column "base_rw"', error.message)
        self.assertRegex(str(error.place), r"firing\.toml:\d+:\d+$")
        self.assertIn("base_raw", str(error.hint))

    def test_a_wrong_option_is_refused_by_the_command_line(self) -> None:
        with self.assertRaises(BurnwrightError) as caught:
            burnwright.look(DEMO / "stand.csv", rate="fast")
        self.assertEqual(caught.exception.exit_code, 2)

    def test_a_firing_that_is_not_there(self) -> None:
        for call in (burnwright.reduce, burnwright.read_toml):
            with self.assertRaises(BurnwrightError) as caught:
                call("nowhere.toml")
            self.assertEqual(caught.exception.place, "nowhere.toml")

    def test_a_program_that_is_not_there_or_cannot_run(self) -> None:
        with mock.patch.dict("os.environ", {"BURNWRIGHT": "/nowhere/burnwright"}):
            with self.assertRaisesRegex(BurnwrightError, "cannot be run"):
                burnwright.version()

    def test_columns_of_unlike_length_are_refused(self) -> None:
        with self.assertRaisesRegex(BurnwrightError, "different lengths"):
            burnwright.look({"t": [0.0, 1.0], "n": [1.0]})


if __name__ == "__main__":
    unittest.main()
