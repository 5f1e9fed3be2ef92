//! The summary for a terminal: the verdict first, then the numbers, then what was judged.

pub mod calibration;
pub mod comparison;
mod findings;
pub mod layout;
pub mod look;
pub mod pooled_plant;
pub mod simulation;
pub mod start;
pub mod trace;
pub mod tuning;

use crate::finding::Outcome;
use crate::motors::lit::{Lit, MotorReport};
use crate::plant::AxisPlant;
use crate::quantity::Measured;
use crate::reduce::{FiringResult, Reduction};

use super::class_words;
use super::number;
use super::verdict::{judged, name_of, verdict, why_missing, yes_or_no};
use super::words::clean;
use findings::{Told, finding, warnings};
use layout::{Ink, hanging, headed, table};

pub use trace::trace;

/// Rows of the thrust trace: enough to tell a spike from a plateau.
const TRACE_ROWS: usize = 4;

/// Narrowest width the tables are made for.
const NARROWEST: usize = 40;

/// The summary of a firing. The first line is the verdict. Lines are at most `width` columns wide.
#[must_use]
pub fn summary(result: &FiringResult, width: usize, colour: bool) -> String {
    summary_around(result, "", width, colour)
}

/// The same with the thrust drawn in block characters under the verdict.
#[must_use]
pub fn summary_with_trace(reduction: &Reduction, width: usize, colour: bool) -> String {
    let burn = reduction.result.burn.as_ref();
    let ends = burn.and_then(|burn| Some((burn.ignition_s.as_ref()?, burn.burnout_s.as_ref()?)));
    let Some((ignition, burnout)) = ends else {
        return summary(&reduction.result, width, colour);
    };
    let margin_s = 0.05 * (burnout.value - ignition.value);
    let thrust = &reduction.traces.thrust_n;
    let shown = thrust.between(ignition.value - margin_s, burnout.value + margin_s);
    let mut picture = String::new();
    for line in trace(&shown, width.max(NARROWEST) - 4, TRACE_ROWS, false) {
        picture += &format!("  {line}\n");
    }
    if !picture.is_empty() {
        let says = "thrust from just before ignition to just after burnout";
        picture += &hanging("  ", says, width.max(NARROWEST));
        picture.insert(0, '\n');
    }
    summary_around(&reduction.result, &picture, width, colour)
}

fn summary_around(result: &FiringResult, picture: &str, width: usize, colour: bool) -> String {
    let width = width.max(NARROWEST);
    let page = Page {
        result,
        width,
        ink: Ink { colour },
    };
    let mut out = page.head();
    out += picture;
    out += &page.burn();
    out += &page.chamber();
    out += &page.motors();
    out += &page.class();
    for (name, axis) in &result.plant {
        out += &page.plant(name, axis);
    }
    out += &page.findings();
    out += &page.warnings();
    out += &page.cautions();
    out
}

struct Page<'a> {
    result: &'a FiringResult,
    width: usize,
    ink: Ink,
}

type Rows = Vec<(String, String)>;

fn row(rows: &mut Rows, label: &str, value: Option<&Measured>) {
    rows.push((label.to_owned(), number::quantity(value)));
}

impl Page<'_> {
    fn section(&self, heading: &str, body: &str) -> String {
        if body.is_empty() {
            return String::new();
        }
        format!("\n{}{body}", headed(heading, self.width, self.ink))
    }

    fn head(&self) -> String {
        let verdict = verdict(self.result);
        let lines = layout::wrapped(&clean(&verdict.line()), self.width);
        let mut out = String::new();
        for line in lines {
            out += &self.ink.outcome(verdict.outcome, &line);
            out.push('\n');
        }
        let title = clean(&self.result.title);
        let title = match &self.result.date {
            Some(date) => format!("{title}, {}", clean(date)),
            None => title,
        };
        out += &hanging("", &title, self.width);
        out += &hanging("", number::NOTATION, self.width);
        out
    }

    fn burn(&self) -> String {
        let mut rows = Rows::new();
        let mut heading = "Burn".to_owned();
        if let Some(burn) = &self.result.burn {
            heading = format!(
                "Burn (first to last at or above {} of peak)",
                clean(&burn.rule)
            );
            row(&mut rows, "ignition", burn.ignition_s.as_ref());
            row(&mut rows, "burnout", burn.burnout_s.as_ref());
            row(&mut rows, "burn time", burn.burn_time_s.as_ref());
            row(&mut rows, "action time", burn.action_time_s.as_ref());
        }
        if let Some(thrust) = &self.result.thrust {
            row(&mut rows, "peak thrust", thrust.peak_n.as_ref());
            row(&mut rows, "average thrust", thrust.average_n.as_ref());
        }
        let burn = self.section(&heading, &table(&rows, self.width));
        burn + &self.impulse()
    }

    fn impulse(&self) -> String {
        let Some(impulse) = &self.result.impulse else {
            return String::new();
        };
        let mut rows = Rows::new();
        row(&mut rows, "total impulse", impulse.total_ns.as_ref());
        row(
            &mut rows,
            "within the burn",
            impulse.burn_window_ns.as_ref(),
        );
        row(&mut rows, "specific impulse", impulse.specific_s.as_ref());
        let exhaust = impulse.exhaust_velocity_m_s.as_ref();
        row(&mut rows, "exhaust velocity", exhaust);
        let largest = impulse
            .budget
            .iter()
            .max_by(|a, b| a.share.total_cmp(&b.share));
        if let Some(line) = largest {
            rows.push((
                "least sure of".to_owned(),
                format!(
                    "{} ({} of the variance)",
                    clean(&line.source),
                    number::percent(line.share)
                ),
            ));
        }
        self.section("Impulse", &table(&rows, self.width))
    }

    fn chamber(&self) -> String {
        let Some(chamber) = &self.result.chamber else {
            return String::new();
        };
        let mut rows = Rows::new();
        for (label, value) in chamber.rows() {
            row(&mut rows, label, value);
        }
        let heading = match &chamber.motor {
            Some(motor) => format!("Chamber of motor {}", name_of(motor)),
            None => "Chamber".to_owned(),
        };
        self.section(&heading, &table(&rows, self.width))
    }

    fn motors(&self) -> String {
        let Some(motors) = &self.result.motors else {
            return String::new();
        };
        let mut rows: Rows = motors
            .iter()
            .map(|(name, motor)| (name_of(name), motor_words(motor)))
            .collect();
        if let Some(ignition) = &self.result.ignition {
            let probability = ignition.probability.map(number::probability);
            let probability = probability.unwrap_or_else(|| number::NOT_AVAILABLE.to_owned());
            rows.push((
                "every motor lit".to_owned(),
                format!(
                    "{} (probability {probability})",
                    yes_or_no(ignition.all_lit)
                ),
            ));
            if motors.len() > 1 {
                row(&mut rows, "stagger", ignition.stagger_s.as_ref());
                for of in &ignition.stagger_torque {
                    let label = format!("  gives {}", name_of(&of.axis));
                    row(&mut rows, &label, Some(&of.angular_impulse_n_m_s));
                }
            }
        }
        self.section("Motors", &table(&rows, self.width))
    }

    fn class(&self) -> String {
        let Some(class) = &self.result.class else {
            return String::new();
        };
        let mut rows: Rows = vec![(
            "all together".to_owned(),
            class.letter.as_deref().map_or_else(
                || number::NOT_AVAILABLE.to_owned(),
                |letter| format!("class {}", clean(letter)),
            ),
        )];
        for motor in &class.per_motor {
            let mut says = motor.letter.as_deref().map_or_else(
                || "class not available".to_owned(),
                |letter| format!("class {}", clean(letter)),
            );
            if let Some(percent) = motor.percent_of_class {
                says += &format!(", {} % of the way up", number::significant(percent, 2));
            }
            if let Some(label) = &motor.designation {
                says += &format!("; label {}", name_of(label));
            }
            if let Some(measured) = &motor.measured_designation {
                says += &format!("; measured {}", name_of(measured));
            }
            rows.push((name_of(&motor.motor), says));
        }
        if class.letters.len() > 1 {
            rows.push(("letters".to_owned(), class_words::letters(&class.letters)));
        }
        if let Some(compared) = &class.comparison {
            rows.push((
                "against certified".to_owned(),
                class_words::compared(compared).join("; "),
            ));
        }
        if let Some(recognised) = &class.recognised {
            let lines: Vec<String> = recognised
                .explanations
                .iter()
                .map(class_words::explained)
                .collect();
            rows.push(("motors by curve".to_owned(), lines.join("; ")));
        }
        self.section("Class", &table(&rows, self.width))
    }

    fn plant(&self, name: &str, axis: &AxisPlant) -> String {
        let mut rows = Rows::new();
        for (label, word, value) in super::plant_rows(axis) {
            if let Some(value) = value {
                rows.push((label.to_owned(), number::measured(value)));
            } else if why_missing(&axis.findings, word).is_some() {
                let text = format!("{}, see findings", number::NOT_AVAILABLE);
                rows.push((label.to_owned(), text));
            }
        }
        let kind = axis.actuator.dead_band.kind;
        rows.push((
            "kind of dead band".to_owned(),
            kind.map_or(number::NOT_AVAILABLE, |kind| kind.word())
                .to_owned(),
        ));
        if let Some(percent) = axis.fit.held_out_fit_percent {
            rows.push((
                "model explains".to_owned(),
                format!(
                    "{} % of movement kept out of the fit",
                    number::significant(percent, 3)
                ),
            ));
        }
        for assumed in &axis.fit.assumed {
            rows.push(("assumed".to_owned(), clean(assumed)));
        }
        let heading = format!("Steering, axis {}", name_of(name));
        self.section(&heading, &table(&rows, self.width))
    }

    fn findings(&self) -> String {
        let mut body = String::new();
        let judged = judged(self.result);
        for one in &judged {
            body += &finding(&one.about, one.finding, Told::InShort, self.width, self.ink);
        }
        if judged
            .iter()
            .any(|one| one.finding.outcome == Outcome::Holds)
        {
            let says = "rule and source of what holds: report.html and result.json";
            body += &hanging("  ", says, self.width);
        }
        self.section("Findings", &body)
    }

    fn warnings(&self) -> String {
        self.section("Warnings", &warnings(&self.result.warnings, self.width))
    }

    fn cautions(&self) -> String {
        let mut body = String::new();
        for caution in &self.result.cautions {
            let text = format!("{} [{}]", clean(&caution.text), clean(&caution.source));
            body += &hanging("  - ", &text, self.width);
        }
        self.section("Cautions", &body)
    }
}

fn motor_words(motor: &MotorReport) -> String {
    let mut out = motor.lit.word().to_owned();
    if let Some(p) = motor.probability {
        out += &format!(" (probability that it lit {})", number::probability(p));
    }
    if motor.lit == Lit::NotLit {
        return out;
    }
    for (label, value) in [
        ("ignition", &motor.ignition_s),
        ("after its fire command", &motor.delay_s),
        ("impulse", &motor.total_ns),
    ] {
        if let Some(value) = value {
            out += &format!("; {label} {}", number::measured(value));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::{audit, fabricated};
    use unicode_width::UnicodeWidthStr;

    #[test]
    fn the_first_line_is_the_verdict_and_no_line_is_too_wide() {
        for reduction in [
            fabricated::full(),
            fabricated::dry_run(),
            fabricated::nothing_lit(),
            fabricated::hostile(),
        ] {
            let text = summary_with_trace(&reduction, 80, false);
            let first = verdict(&reduction.result).line();
            let shown = text.lines().next().unwrap();
            assert!(first.starts_with(shown), "{shown}");
            for line in text.lines() {
                assert!(line.width() <= 80, "{line}");
            }
            assert!(!text.contains('\u{1b}') && !text.contains('\u{202e}'));
        }
    }

    #[test]
    fn every_number_is_in_the_results() {
        for reduction in [
            fabricated::full(),
            fabricated::dry_run(),
            fabricated::nothing_lit(),
        ] {
            let text = summary_with_trace(&reduction, 80, false);
            assert_eq!(audit::strangers(&text, &reduction), [""; 0]);
        }
    }

    #[test]
    fn colour_changes_nothing_but_codes() {
        let result = fabricated::full().result;
        let plain = summary(&result, 80, false);
        let mut coloured = summary(&result, 80, true);
        assert!(coloured.contains("\u{1b}[1;31mfails\u{1b}[0m"));
        for code in ["1", "2", "1;34", "1;31", "1;33", "0"] {
            coloured = coloured.replace(&format!("\u{1b}[{code}m"), "");
        }
        assert_eq!(plain, coloured);
    }

    #[test]
    fn the_steering_table_reads_as_intended() {
        let text = summary(&fabricated::dry_run().result, 80, false);
        let from = text.find("Steering").unwrap();
        let to = text.find("\nFindings").unwrap();
        assert_eq!(
            &text[from..to],
            "Steering, axis pitch\n\
             \x20 gain               0.962 (0.940 to 0.984)\n\
             \x20 bias               -0.310 deg (-0.388 to -0.232)\n\
             \x20 lag                0.0284 s (0.0259 to 0.0309)\n\
             \x20 delay              0.01210 s (0.01034 to 0.01386)\n\
             \x20 dead band          0.420 deg (0.330 to 0.520)\n\
             \x20 kind of dead band  play\n\
             \x20 model explains     93.4 % of movement kept out of the fit\n"
        );
    }
}
