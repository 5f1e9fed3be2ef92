//! A judged calibration for a terminal: what the curve is worth, drawn and in numbers.

use crate::calibration::Direction;
use crate::calibration::judgement::{DegreeReport, Judgement, Residual, SweepReport};
use crate::finding::Outcome;
use crate::render::number::{self, significant};
use crate::render::words::clean;

use super::findings::{Told, finding, warnings};
use super::layout::{Ink, hanging, headed, table, wrapped};
use super::{NARROWEST, Rows, row};

/// Rows of the drawing of residuals: an odd number, so that one is zero.
const PLOT_ROWS: usize = 9;
/// Width from which on the table of degrees has all of its columns.
const FULL_DEGREES: usize = 66;
/// Widest drawing, in columns.
const WIDEST_PLOT: usize = 66;
/// Columns left of the drawing, for its scale.
const SCALE_COLUMNS: usize = 13;

/// The judgement as text, at most `width` columns wide. The first line says how it went.
#[must_use]
pub fn calibration(judgement: &Judgement, width: usize, colour: bool) -> String {
    let page = Page {
        judgement,
        width: width.max(NARROWEST),
        ink: Ink { colour },
    };
    let mut out = page.head();
    out += &page.section("Curve", &page.curve());
    out += &page.section("What the curve misses", &page.plot());
    out += &page.section("Degrees tried", &page.degrees());
    out += &page.section("How sure one reading is", &page.readings());
    out += &page.section("Smallest usable force (ASTM E74)", &page.smallest());
    out += &page.section("Up, down and again", &page.both_ways());
    out += &page.section("Gain and dead band", &page.sweep());
    out += &page.section("Findings", &page.findings());
    out += &page.section("Warnings", &warnings(&judgement.warnings, page.width));
    out
}

struct Page<'a> {
    judgement: &'a Judgement,
    width: usize,
    ink: Ink,
}

impl Page<'_> {
    fn section(&self, heading: &str, body: &str) -> String {
        if body.is_empty() {
            return String::new();
        }
        format!("\n{}{body}", headed(heading, self.width, self.ink))
    }

    /// A load with its unit.
    fn load(&self, load: f64, digits: usize) -> String {
        format!("{} {}", significant(load, digits), self.judgement.unit)
    }

    fn head(&self) -> String {
        let judged = self.judgement;
        let worst = [Outcome::Fails, Outcome::Undecided]
            .into_iter()
            .find(|outcome| judged.findings.iter().any(|one| one.outcome == *outcome));
        let word = match judged.degree {
            1 => "straight".to_owned(),
            degree => format!("degree {degree}"),
        };
        let says = match worst {
            None => "every finding holds.",
            Some(Outcome::Fails) => "a finding fails, see below.",
            Some(_) => "a finding is undecided, see below.",
        };
        let line = format!(
            "Curve of {}, {word}, from {} points: {says}",
            judged.quantity.word(),
            judged.points
        );
        let mut out = String::new();
        for line in wrapped(&line, self.width) {
            let line = self.ink.outcome(worst.unwrap_or(Outcome::Holds), &line);
            out += &format!("{line}\n");
        }
        out + &hanging("", &clean(&judged.file), self.width)
    }

    fn curve(&self) -> String {
        let judged = self.judgement;
        let [low, high] = judged.range;
        let mut rows: Rows = vec![(
            "points".to_owned(),
            format!(
                "{} at {} levels, {} to {}",
                judged.points,
                judged.levels,
                significant(low, 5),
                self.load(high, 5)
            ),
        )];
        let mut add = |label: &str, text: String| rows.push((label.to_owned(), text));
        let coefficients: Vec<String> = judged
            .coefficients
            .iter()
            .map(|value| significant(*value, 7))
            .collect();
        add("raw is", polynomial(&coefficients, &judged.unit));
        add("why", judged.why.clone());
        if let (Some(sd), Some(sd_raw)) = (judged.residual_sd, judged.residual_sd_raw) {
            add(
                "scatter about it",
                format!(
                    "{} ({} raw), standard deviation",
                    self.load(sd, 3),
                    significant(sd_raw, 3)
                ),
            );
        }
        if let Some(step) = judged.resolution_raw {
            add("step of readings", format!("{} raw", significant(step, 3)));
        }
        if let Some(gravity) = judged.gravity_m_s2 {
            add("gravity", format!("{} m/s²", significant(gravity, 7)));
        }
        if judged.shared_relative_u > 0.0 {
            let u = number::percent(judged.shared_relative_u);
            add(
                "shared by all",
                format!("{u} standard uncertainty (weights, gravity)"),
            );
        }
        if let Some(single) = &judged.single_slope {
            add(
                "one slope instead",
                format!(
                    "scale = \"{} N\", zero = {}; misses its points by up to {}",
                    significant(single.scale_n, 6),
                    significant(single.zero_raw, 8),
                    self.load(single.largest_residual_n, 3)
                ),
            );
        }
        table(&rows, self.width)
    }

    /// Residuals against load, drawn in characters.
    fn plot(&self) -> String {
        let judged = self.judgement;
        let columns = (self.width - SCALE_COLUMNS - 1).min(WIDEST_PLOT);
        let largest = judged.largest_residual;
        let [low, high] = judged.range;
        if largest <= 0.0 || high <= low {
            return String::new();
        }
        let mut cells = vec![vec![' '; columns]; PLOT_ROWS];
        cells[PLOT_ROWS / 2].fill('-');
        for point in &judged.residuals {
            let Some(residual) = point.residual else {
                continue;
            };
            let across = (point.load - low) / (high - low) * (columns - 1) as f64;
            let down = (1.0 - residual / largest) * 0.5 * (PLOT_ROWS - 1) as f64;
            let place = cells
                .get_mut(down.round() as usize)
                .and_then(|line| line.get_mut(across.round() as usize));
            if let Some(place) = place {
                *place = mark(*place, point);
            }
        }
        let mut out = String::new();
        for (nth, line) in cells.iter().enumerate() {
            let scale = match nth {
                0 => format!("+{}", self.load(largest, 3)),
                nth if nth == PLOT_ROWS / 2 => "0".to_owned(),
                nth if nth == PLOT_ROWS - 1 => format!("-{}", self.load(largest, 3)),
                _ => String::new(),
            };
            let line: String = line.iter().collect();
            out += format!("{scale:>SCALE_COLUMNS$}|{line}").trim_end();
            out.push('\n');
        }
        let (from, to) = (significant(low, 4), self.load(high, 4));
        let gap = columns.saturating_sub(from.len() + to.len());
        out += &format!("{:SCALE_COLUMNS$} {from}{}{to}\n", "", " ".repeat(gap));
        out + &hanging("  ", &self.legend(), self.width)
    }

    fn legend(&self) -> String {
        let stated = |which| {
            let all = &self.judgement.residuals;
            all.iter().any(|point| point.direction == which)
        };
        let mut marks = Vec::new();
        if stated(Some(Direction::Up)) || stated(Some(Direction::Down)) {
            marks.push("^ up, v down, # both");
        }
        if stated(None) {
            marks.push("o reading");
        }
        let found = if self.judgement.direction_found {
            "; which way is from the order of the rows"
        } else {
            ""
        };
        format!(
            "{} by the curve minus known, against known; {}{found}",
            self.judgement.quantity.word(),
            marks.join(", ")
        )
    }

    fn degrees(&self) -> String {
        let judged = self.judgement;
        let mut lines = vec![
            [
                "degree",
                "scatter",
                "power F",
                "chance",
                "fit F",
                "chance",
                "R squared",
            ]
            .map(str::to_owned)
            .to_vec(),
        ];
        lines.extend(
            judged
                .degrees
                .iter()
                .map(|one| degree_line(one, judged.degree)),
        );
        let mut out = String::new();
        let gap = if self.width < FULL_DEGREES { " " } else { "  " };
        for line in &lines {
            let mut text = String::from("  ");
            for (nth, word) in line.iter().enumerate() {
                // What decides nothing goes first where the screen is narrow.
                if nth >= 5 && self.width < FULL_DEGREES {
                    continue;
                }
                let widest = lines
                    .iter()
                    .filter_map(|line| line.get(nth))
                    .map(String::len);
                let wide = widest.max().unwrap_or(0);
                text += &format!("{word:<wide$}{gap}");
            }
            out += text.trim_end();
            out.push('\n');
        }
        out += &hanging(
            "  ",
            "scatter is raw; power F: does the highest power lower it; fit F: does the curve miss \
             more than repeats scatter; chance: probability of an F as large by chance",
            self.width,
        );
        out + &hanging("  ", &judged.r_squared_note, self.width)
    }

    fn readings(&self) -> String {
        let mut rows = Rows::new();
        let shared = self.judgement.shared_relative_u > 0.0;
        for one in &self.judgement.read_back {
            let mut text = number::measured(&one.load);
            if shared && one.shared_u > 0.0 {
                text += &format!("; shared u {}", self.load(one.shared_u, 2));
            }
            rows.push((format!("raw {}", significant(one.raw, 7)), text));
        }
        if rows.is_empty() {
            return String::new();
        }
        let note =
            "one new reading, 95 % (single-use calibration interval); a mean of many is surer";
        table(&rows, self.width) + &hanging("  ", note, self.width)
    }

    fn smallest(&self) -> String {
        let Some(e74) = &self.judgement.e74 else {
            return String::new();
        };
        let mut factor = self.load(e74.lower_limit_factor_n, 3);
        if e74.by_resolution {
            factor += ", set by the step of the readings";
        }
        let text = |label: &str, text: String| (label.to_owned(), text);
        let rows = [
            text("lower limit factor", factor),
            text("class A from", self.load(e74.lowest_force_class_a_n, 3)),
            text("class AA from", self.load(e74.lowest_force_class_aa_n, 3)),
            text("rule", format!("{} [{}]", e74.rule, e74.source)),
        ];
        table(&rows, self.width)
    }

    fn both_ways(&self) -> String {
        let judged = self.judgement;
        let mut rows = Rows::new();
        let mut add = |label: &str, text: String| rows.push((label.to_owned(), text));
        if let Some(found) = &judged.hysteresis {
            add(
                "hysteresis, most",
                format!(
                    "{} at {}, {} of the range",
                    self.load(found.largest, 3),
                    self.load(found.at, 4),
                    number::percent(found.largest_share)
                ),
            );
            add(
                "hysteresis, mean",
                format!(
                    "{} (down less up), {} of the range",
                    self.load(found.mean, 3),
                    number::percent(found.mean_share)
                ),
            );
            if let Some(scatter) = found.scatter_without {
                add("scatter without it", self.load(scatter, 3));
            }
        }
        if let Some(between) = judged.between_runs {
            let runs = judged.runs;
            add(
                "between runs, most",
                format!(
                    "{} at one load and one way, {runs} runs",
                    self.load(between, 3)
                ),
            );
        }
        if let Some(zero) = judged.zero_return {
            add(
                "zero came back to",
                format!("{} of where it was", self.load(zero, 3)),
            );
        }
        for stuck in &judged.stuck {
            let loads: Vec<String> = stuck
                .loads
                .iter()
                .map(|load| significant(*load, 4))
                .collect();
            add(
                "stuck reading",
                format!(
                    "{} at {} {}",
                    significant(stuck.raw, 8),
                    loads.join(", "),
                    judged.unit
                ),
            );
        }
        table(&rows, self.width)
    }

    fn sweep(&self) -> String {
        let Some(sweep) = &self.judgement.sweep else {
            return String::new();
        };
        let mut rows = Rows::new();
        row(&mut rows, "gain", Some(&sweep.gain));
        row(&mut rows, "gain, raw rising", Some(&sweep.gain_rising));
        row(&mut rows, "gain, raw falling", Some(&sweep.gain_falling));
        row(
            &mut rows,
            "angle at raw zero",
            Some(&sweep.angle_at_zero_raw),
        );
        row(
            &mut rows,
            "raw at angle zero",
            Some(&sweep.raw_at_zero_angle),
        );
        row(&mut rows, "loop width", Some(&sweep.loop_width_raw));
        row(&mut rows, "as angle", Some(&sweep.loop_width));
        rows.push(("which is behind".to_owned(), behind(sweep)));
        rows.push((
            "rows used".to_owned(),
            format!("{} rising, {} falling", sweep.rows[0], sweep.rows[1]),
        ));
        table(&rows, self.width)
    }

    fn findings(&self) -> String {
        let mut all: Vec<_> = self.judgement.findings.iter().collect();
        all.sort_by_key(|one| match one.outcome {
            Outcome::Fails => 0,
            Outcome::Undecided => 1,
            Outcome::Holds => 2,
        });
        all.into_iter()
            .map(|one| finding("", one, Told::Whole, self.width, self.ink))
            .collect()
    }
}

fn behind(sweep: &SweepReport) -> String {
    let nothing = "the loop may be none: its interval holds zero";
    sweep.behind.clone().unwrap_or_else(|| nothing.to_owned())
}

/// Coefficients as the sum they stand for: `8123 + 101.2 x - 0.014 x²`, x in N.
fn polynomial(coefficients: &[String], unit: &str) -> String {
    const POWERS: [&str; 4] = ["", " x", " x²", " x³"];
    let mut out = String::new();
    for (value, power) in coefficients.iter().zip(POWERS) {
        let (sign, size) = match value.strip_prefix('-') {
            Some(size) => ("-", size),
            None => ("+", value.as_str()),
        };
        out += &match (out.is_empty(), sign) {
            (true, "+") => size.to_owned(),
            (true, _) => format!("-{size}"),
            (false, sign) => format!(" {sign} {size}"),
        };
        out += power;
    }
    format!("{out}, x in {unit}")
}

fn mark(before: char, point: &Residual) -> char {
    let new = match point.direction {
        Some(Direction::Up) => '^',
        Some(Direction::Down) => 'v',
        None => 'o',
    };
    if before == ' ' || before == '-' || before == new {
        new
    } else {
        '#'
    }
}

fn degree_line(one: &DegreeReport, chosen: usize) -> Vec<String> {
    let known = |value: Option<f64>, digits| {
        value.map_or_else(|| "-".to_owned(), |value| shown(value, digits))
    };
    let mark = if one.degree == chosen { " *" } else { "" };
    vec![
        format!("{}{mark}", one.degree),
        known(one.residual_sd_raw, 4),
        known(one.power.map(|test| test.ratio), 4),
        known(one.power.map(|test| test.probability), 2),
        known(one.lack_of_fit.map(|test| test.ratio), 4),
        known(one.lack_of_fit.map(|test| test.probability), 2),
        shown(one.r_squared, 8),
    ]
}

fn shown(value: f64, digits: usize) -> String {
    if value >= 1e12 {
        "no limit".to_owned()
    } else {
        significant(value, digits)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::judgement::judge;
    use crate::calibration::points::{LoadKind, Points, directions_in};
    use crate::render::{audit, json};
    use unicode_width::UnicodeWidthStr;

    /// Up and down twice, with a bend, noise that repeats and a little play.
    fn judgement(kind: LoadKind) -> Judgement {
        let (mut raw, mut load) = (Vec::new(), Vec::new());
        for row in 0..80_u32 {
            let step = f64::from(20_u32.abs_diff(row % 40));
            let noise = f64::from(row * 7919 % 13) - 6.0;
            let late = if row % 40 < 20 { -9.0 } else { 9.0 };
            load.push(kind.unit_size() * (20.0 - step));
            raw.push((8123.0 - 411.0 * step + 0.9 * step * step + noise + late).round());
        }
        let mut points = Points::exact(raw, load);
        points.kind = kind;
        points.file = format!("{}\u{1b}[31m points.csv", "long ".repeat(30));
        points.gravity_m_s2 = (kind == LoadKind::Force).then_some(9.812_34);
        points.direction_found = true;
        let ways = directions_in(&points.load).unwrap();
        points.direction = ways.into_iter().map(Some).collect();
        points.run = (0..80).map(|row| (row / 40).to_string()).collect();
        judge(&points, Some(1.2e-4)).unwrap().1
    }

    #[test]
    fn every_number_is_in_the_data_and_no_line_is_too_wide() {
        for kind in [LoadKind::Force, LoadKind::Angle] {
            let judgement = judgement(kind);
            assert_eq!(judgement.sweep.is_some(), kind == LoadKind::Angle);
            let text = calibration(&judgement, 80, false);
            assert!(text.lines().all(|line| line.width() <= 80), "{text}");
            assert!(!text.contains('\u{1b}'));
            let data = json::judgement_json(&judgement);
            assert_eq!(audit::strangers_to(&text, &data), [""; 0], "{text}");
        }
    }

    #[test]
    fn the_data_read_back_the_same() {
        let judgement = judgement(LoadKind::Angle);
        let back: Judgement = serde_json::from_str(&json::judgement_json(&judgement)).unwrap();
        assert_eq!(back, judgement);
    }

    // By hand: the largest miss stands in the first or last line, zero in the middle one.
    #[test]
    fn residuals_stand_where_they_belong() {
        let mut judgement = judgement(LoadKind::Force);
        let point = |load, residual, direction| Residual {
            load,
            residual: Some(residual),
            direction,
        };
        judgement.residuals = vec![
            point(0.0, 0.2, Some(Direction::Up)),
            point(10.0, -0.2, Some(Direction::Down)),
            point(5.0, 0.0, None),
        ];
        (judgement.largest_residual, judgement.range) = (0.2, [0.0, 10.0]);
        let text = calibration(&judgement, 40, false);
        let from = text.find("What the curve misses").unwrap();
        let lines: Vec<&str> = text[from..].lines().skip(1).take(PLOT_ROWS + 1).collect();
        assert_eq!(lines[0], "       +0.2 N|^");
        assert_eq!(lines[4], "            0|-------------o------------");
        assert_eq!(lines[8], "       -0.2 N|                         v");
        assert_eq!(lines[9], "              0                     10 N");
    }
}
