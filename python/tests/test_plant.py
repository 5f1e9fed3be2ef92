"""The plant in steps, against the flight simulator and a C program (``tests/suite/plant_steps.rs``), and as drawn."""

import csv
import math
import statistics
import unittest

from burnwright import AxisModel, BurnwrightError, Plant

from repository import ROOT

STEPS = ROOT / "tests" / "data" / "plant-steps"
#: Largest difference in deg and deg/s; the C program is held to the same.
ALIKE = 1e-9
#: Steps of all three, s: where dry friction stops an axis depends on them.
STEP_S = 1.0 / 8192.0


class PlantSteps(unittest.TestCase):
    def setUp(self) -> None:
        self.plant = Plant.read(STEPS / "plant.json")
        with open(STEPS / "steps.csv", newline="") as file:
            self.rows = list(csv.DictReader(file))

    def test_every_step_is_that_of_the_simulator(self) -> None:
        thrust = self.plant.thrust
        for name, model in self.plant.model().items():
            rows = [{key: float(value) for key, value in row.items() if key != "axis"} for row in self.rows if row["axis"] == name]
            self.assertEqual(len(rows), 136)
            times, commands = [row["time_s"] for row in rows], [row["command_deg"] for row in rows]
            flown = model.run(times, commands, (thrust.time_s, thrust.thrust_n), 1.5, -2.0, STEP_S)
            worst = max(
                abs(flown[key][at] - row[key]) for at, row in enumerate(rows) for key in ("nozzle_deg", "tilt_deg", "rate_deg_s")
            )
            self.assertLess(worst, ALIKE, name)

    def test_steps_of_all_axes_are_those_of_each(self) -> None:
        model = self.plant.model()
        together = {name: one.start() for name, one in model.items()}
        alone = model["zone"].start()
        for at in range(60):
            command = 2.0 if at % 20 < 10 else -1.0
            together = self.plant.step(together, dict.fromkeys(together, command), (28.0, 27.0), 0.005)
            alone = model["zone"].step(alone, command, (28.0, 27.0), 0.005)
        self.assertEqual(together["zone"], alone)

    def test_draws_have_the_covariance_they_come_from(self) -> None:
        drawn = [one["plain"] for one in self.plant.draw(4000, seed=3)]
        gains, lags = [one.gain for one in drawn], [one.lag_s for one in drawn]
        # Standard errors: of a standard deviation 1 / sqrt(2 n) = 1.1 %, of the correlation 1.6 %; four of each.
        self.assertAlmostEqual(statistics.stdev(gains) / 1e-2, 1.0, delta=0.045)
        self.assertAlmostEqual(statistics.stdev(lags) / 1e-3, 1.0, delta=0.045)
        self.assertAlmostEqual(statistics.correlation(gains, lags), 0.1, delta=0.064)
        self.assertEqual([one["zone"] for one in self.plant.draw(3, seed=5)], [one["zone"] for one in self.plant.draw(3, seed=5)])

    def test_a_plant_without_an_axis_number_is_refused_with_a_hint(self) -> None:
        with self.assertRaises(BurnwrightError) as caught:
            self.plant.model("flight")
        self.assertIn("effectiveness_per_kg_m", caught.exception.message)
        self.assertIn("excitation", str(caught.exception.hint))

    def test_what_is_no_number_is_refused(self) -> None:
        axis = AxisModel(gain=1.0, lag_s=0.02, delay_s=0.0, effectiveness_per_kg_m=4.0)
        for wrong in ((math.nan, 28.0, 0.01), (1.0, math.inf, 0.01), (1.0, 28.0, 0.0)):
            with self.assertRaises(BurnwrightError):
                axis.step(axis.start(), *wrong)


if __name__ == "__main__":
    unittest.main()
