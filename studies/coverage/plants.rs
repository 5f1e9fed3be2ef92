//! The plant over many different firings: twelve groups (nozzle measured or not; play, dead zone,
//! none; quiet and gusty), commands at 100, 200 or 500 Hz, and two groups excited too poorly.
//!
//! Every firing has its own actuator, drawn from what small servos do, and two axes. Nothing is
//! shared with the fit but the file formats.

use std::collections::BTreeMap;
use std::path::Path;

use burnwright::Error;
use burnwright::internal::{Pattern, Rehearsal, Shows, read_rehearsal};
use burnwright::result::DeadBandKind;
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use serde_json::Value;

use super::draw::{drawn, steer_by_steps};
use super::study::{FIRST_SEED, find, gathered, reduced};

/// Seeds apart from those of the other studies.
const SEED: u64 = FIRST_SEED + 1_000_000;
/// Commands for each second.
const COMMAND_HZ: [f64; 3] = [100.0, 200.0, 500.0];
/// The kinds of dead band with their words.
const KINDS: [(DeadBandKind, &str); 3] = [
    (DeadBandKind::Play, "play"),
    (DeadBandKind::DeadZone, "dead zone"),
    (DeadBandKind::None, "none"),
];

/// One group of firings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Group {
    nozzle: bool,
    gusty: bool,
    kind: usize,
    poor: bool,
}

impl Group {
    fn all() -> Vec<Self> {
        let mut out = Vec::new();
        for poor in [false, true] {
            for nozzle in [true, false] {
                for gusty in [false, true] {
                    out.extend((0..KINDS.len()).map(|kind| Self {
                        nozzle,
                        gusty,
                        kind,
                        poor,
                    }));
                }
            }
        }
        out
    }

    fn words(self) -> String {
        format!(
            "{}{}, {}{}",
            if self.nozzle { "nozzle" } else { "tilt alone" },
            if self.gusty { ", gusty" } else { "" },
            KINDS[self.kind].1,
            if self.poor { ", poor" } else { "" }
        )
    }
}

/// What is unlike one pole and an axis of its own.
#[derive(Debug, Clone, Copy)]
pub enum Unlike {
    /// Actuators of second order.
    TwoPoles,
    /// A nozzle that turns the other axis, too, by up to a twentieth.
    Coupled,
}

impl Unlike {
    /// By its word.
    pub fn named(word: &str) -> Option<Self> {
        match word {
            "two-poles" => Some(Self::TwoPoles),
            "coupled" => Some(Self::Coupled),
            _ => None,
        }
    }
}

/// One number of one axis: what was stated, and what was true.
#[derive(Debug, Clone)]
pub struct Number {
    pub name: &'static str,
    /// Value, u, low, high.
    pub stated: Option<[f64; 4]>,
    bound: Option<f64>,
    pub truth: f64,
}

/// One axis of one firing.
#[derive(Debug, Clone)]
pub struct Axis {
    group: Group,
    /// What the structure was said to be.
    kind: Option<String>,
    /// Whether the command was said to be enough.
    excited: bool,
    white: bool,
    steered: bool,
    pub numbers: Vec<Number>,
}

const NUMBERS: [(&str, &str, &str, &str); 10] = [
    ("gain", "actuator.gain", "gain", "gain"),
    ("lag, ms", "actuator.lag_s", "lag_s", "lag_s"),
    ("delay, ms", "actuator.delay_s", "delay_s", "delay_s"),
    (
        "lag and delay together, ms",
        "actuator.lag_plus_delay_s",
        "lag_plus_delay_s",
        "",
    ),
    (
        "damping ratio",
        "actuator.damping_ratio",
        "damping_ratio",
        "damping_ratio",
    ),
    (
        "dead band, deg",
        "actuator.dead_band.width_deg",
        "dead_band.width_deg",
        "dead_band.width_deg",
    ),
    (
        "effectiveness, 1/(kg m)",
        "rig.effectiveness_per_kg_m",
        "effectiveness_loaded_per_kg_m",
        "effectiveness_per_kg_m",
    ),
    (
        "thrust bias, 1/(kg m)",
        "rig.thrust_bias_per_kg_m",
        "thrust_bias_per_kg_m",
        "thrust_bias_per_kg_m",
    ),
    (
        "damping, 1/s",
        "rig.damping_per_s",
        "damping_per_s",
        "damping_per_s",
    ),
    (
        "stiffness, 1/s2",
        "rig.stiffness_per_s2",
        "stiffness_per_s2",
        "stiffness_per_s2",
    ),
];

/// Makes one firing of a group.
fn firing(base: &Rehearsal, group: Group, unlike: Option<Unlike>, seed: u64) -> Rehearsal {
    let mut dice = ChaCha8Rng::seed_from_u64(seed ^ 0x00a5_0000_0000);
    let mut between = |low: f64, high: f64| low + (high - low) * dice.random::<f64>();
    let mut out = drawn(base, seed);
    let hz = COMMAND_HZ[(seed % 3) as usize];
    let (kind, _) = KINDS[group.kind];
    if let Some(recorder) = out.recorders.get_mut("computer") {
        recorder.rate_hz = hz;
        recorder
            .columns
            .retain(|_, column| group.nozzle || !matches!(column.shows, Shows::Nozzle(_)));
    }
    for axis in out.axes.values_mut() {
        axis.gain = between(0.85, 1.05);
        axis.bias_deg = between(-0.2, 0.2);
        axis.lag_s = between(0.015, 0.04);
        axis.delay_s = between(0.006, 0.02);
        axis.dead_band = kind;
        axis.dead_band_width_deg = match kind {
            DeadBandKind::None => 0.0,
            _ => between(0.3, 0.7),
        };
        axis.coulomb_rad_s2 = between(0.0, 0.04);
        axis.damping_per_s = between(0.1, 0.5);
        if !group.gusty {
            axis.direction_drift_rad *= 0.4;
            axis.direction_noise_rad *= 0.4;
        } else {
            axis.direction_drift_rad *= 2.0;
            axis.wind_rad_s2 *= 10.0;
        }
    }
    // Drawn last, so that all else is as it is in the model.
    for axis in out.axes.values_mut() {
        match unlike {
            Some(Unlike::TwoPoles) => axis.damping_ratio = Some(between(0.45, 1.2)),
            Some(Unlike::Coupled) => axis.coupling = between(-0.05, 0.05),
            None => {}
        }
    }
    if let Some(computer) = &mut out.computer {
        for steering in computer.steering.values_mut() {
            if group.poor {
                // Few turns, of one size.
                steering.pattern = Pattern::Doublets;
                steering.amplitude_deg = 1.0;
                steering.dwell_s = 0.7;
            } else {
                steering.amplitude_deg = 3.2;
                steering.smallest_deg = 0.6;
            }
        }
    }
    out
}

/// Rehearses and reduces; 2 axes each; `from` moves all seeds on; perhaps unlike the model.
pub fn study(firings: u64, from: u64, unlike: Option<Unlike>) -> Result<String, Error> {
    Ok(table(&measured(firings, from, unlike)?, firings))
}

/// Every axis of so many firings, their seeds moved on by `from`.
///
/// # Errors
/// A firing that cannot be rehearsed or reduced.
pub fn measured(firings: u64, from: u64, unlike: Option<Unlike>) -> Result<Vec<Axis>, Error> {
    let base = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/twin-captive/REHEARSAL.toml");
    let mut base = read_rehearsal(&base)?;
    steer_by_steps(&mut base);
    let groups = Group::all();
    let kinds = groups.len() as u64;
    gathered(firings, |job| {
        let group = groups[(job % kinds) as usize];
        let seed = from + SEED + job / kinds + 7919 * (job % kinds);
        let (result, truth) = reduced(&firing(&base, group, unlike, seed))?;
        Ok(axes(group, &result, &truth))
    })
}

fn axes(group: Group, result: &Value, truth: &Value) -> Vec<Axis> {
    let names = truth["plant"].as_object();
    names
        .into_iter()
        .flat_map(|axes| axes.keys())
        .map(|name| {
            let (found, real) = (&result["plant"][name], &truth["plant"][name]);
            let holds = |start: &str| {
                let findings = found["findings"].as_array();
                findings.is_some_and(|all| {
                    all.iter().any(|finding| {
                        finding["claim"].as_str().unwrap_or("").starts_with(start)
                            && finding["outcome"] == "holds"
                    })
                })
            };
            let lighter = real["effectiveness_loaded_per_kg_m"]
                .as_f64()
                .zip(real["effectiveness_per_kg_m"].as_f64())
                .map_or(1.0, |(loaded, mean)| loaded / mean);
            let numbers = NUMBERS.iter().map(|(title, place, true_place, bound)| {
                let stated = find(found, place);
                let of = |key: &str| stated[key].as_f64();
                let truly = |place: &str| find(real, place).as_f64().unwrap_or(f64::NAN);
                let mut true_one = match *true_place {
                    "lag_plus_delay_s" => truly("lag_s") + truly("delay_s"),
                    place => truly(place),
                };
                if *title == "thrust bias, 1/(kg m)" {
                    true_one *= lighter;
                    if !group.nozzle {
                        // Tilt alone shows the nozzle's bias and the thrust's as one.
                        let part = |key: &str| real[key].as_f64().unwrap_or(f64::NAN);
                        true_one += part("effectiveness_loaded_per_kg_m")
                            * (part("gain") * part("bias_deg")).to_radians();
                    }
                }
                Number {
                    name: title,
                    stated: of("value")
                        .zip(of("u"))
                        .zip(of("low").zip(of("high")))
                        .map(|((value, u), (low, high))| [value, u, low, high]),
                    bound: found["fit"]["information_bound"][*bound].as_f64(),
                    truth: true_one,
                }
            });
            Axis {
                group,
                kind: found["actuator"]["dead_band"]["kind"]
                    .as_str()
                    .map(|kind| kind.replace('-', " ")),
                excited: holds("the command excites"),
                white: holds("the residuals are white"),
                steered: holds("the residuals do not follow"),
                numbers: numbers.collect(),
            }
        })
        .collect()
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

fn row(title: &str, axes: &[&Axis], name: &str) -> Option<String> {
    let numbers: Vec<&Number> = axes
        .iter()
        .filter(|axis| name != "dead band, deg" || KINDS[axis.group.kind].0 != DeadBandKind::None)
        .flat_map(|axis| axis.numbers.iter().filter(|number| number.name == name))
        .collect();
    let told: Vec<(&Number, [f64; 4])> = numbers
        .iter()
        .filter_map(|number| Some((*number, number.stated?)))
        .collect();
    if told.is_empty() {
        return None;
    }
    let scale = if name.ends_with(", ms") { 1e3 } else { 1.0 };
    let count = told.len() as f64;
    let covered = told
        .iter()
        .filter(|(number, [_, _, low, high])| (*low..=*high).contains(&number.truth))
        .count();
    let error = |(number, [value, ..]): &(&Number, [f64; 4])| value - number.truth;
    let lean = told.iter().map(|one| error(one) / one.1[1]).sum::<f64>() / count;
    let square = told
        .iter()
        .map(|one| (error(one) / one.1[1] - lean).powi(2))
        .sum::<f64>();
    let ratios = told
        .iter()
        .filter_map(|(number, [_, u, ..])| Some(u / number.bound?));
    let ratio = match median(ratios.collect()) {
        ratio if ratio.is_finite() => format!("{ratio:.2}"),
        _ => "-".to_owned(),
    };
    Some(format!(
        "| {title} | {name} | {} of {} | {:.1} % | {:.3} | {:.3} | {:.2} | {:.2} | {ratio} |\n",
        told.len(),
        numbers.len(),
        100.0 * covered as f64 / count,
        scale * median(told.iter().map(|one| error(one).abs()).collect()),
        scale * median(told.iter().map(|one| 0.5 * (one.1[3] - one.1[2])).collect()),
        lean,
        (square / count).sqrt(),
    ))
}

/// Whether an axis belongs to a class.
type Belongs = fn(&Axis) -> bool;

const HEAD: &str = "| firings | number | told | covered | median error | median half width | \
                    mean error / u | sd of error / u | u over information bound |\n\
                    |---|---|---|---|---|---|---|---|---|\n";

fn table(axes: &[Axis], firings: u64) -> String {
    let mut out = format!("{firings} firings, {} axes\n\n{HEAD}", axes.len());
    let classes: [(&str, Belongs); 6] = [
        ("nozzle, quiet", |a| {
            a.group.nozzle && !a.group.gusty && !a.group.poor
        }),
        ("nozzle, gusty", |a| {
            a.group.nozzle && a.group.gusty && !a.group.poor
        }),
        ("tilt alone, quiet", |a| {
            !a.group.nozzle && !a.group.gusty && !a.group.poor
        }),
        ("tilt alone, gusty", |a| {
            !a.group.nozzle && a.group.gusty && !a.group.poor
        }),
        ("nozzle, poor", |a| a.group.nozzle && a.group.poor),
        ("tilt alone, poor", |a| !a.group.nozzle && a.group.poor),
    ];
    for (title, of) in classes {
        let some: Vec<&Axis> = axes.iter().filter(|axis| of(axis)).collect();
        for (name, ..) in NUMBERS {
            out += &row(title, &some, name).unwrap_or_default();
        }
    }
    out += "\n| firings | axes | excitation holds | right of these | said none-null and wrong | \
            undecided | width missed | white | residuals free of the command |\n\
            |---|---|---|---|---|---|---|---|---|\n";
    let mut groups: BTreeMap<Group, Vec<&Axis>> = BTreeMap::new();
    for axis in axes {
        groups.entry(axis.group).or_default().push(axis);
    }
    for (group, some) in groups {
        let word = KINDS[group.kind].1;
        let right = |axis: &&&Axis| axis.kind.as_deref() == Some(word);
        let count = |of: &dyn Fn(&&&Axis) -> bool| some.iter().filter(|axis| of(axis)).count();
        let excited = count(&|axis| axis.excited);
        let right_of = count(&|axis| axis.excited && right(axis));
        let wrong = count(&|axis| axis.kind.is_some() && !right(axis));
        let missed = count(&|axis| {
            let width = axis.numbers.iter().find(|n| n.name == "dead band, deg");
            width.is_some_and(|number| {
                number
                    .stated
                    .is_some_and(|[_, _, low, high]| !(low..=high).contains(&number.truth))
            })
        });
        out += &format!(
            "| {} | {} | {excited} | {right_of} | {wrong} | {} | {missed} | {} | {} |\n",
            group.words(),
            some.len(),
            count(&|axis| axis.kind.is_none()),
            count(&|axis| axis.white),
            count(&|axis| axis.steered),
        );
    }
    out + &widths_stated(axes)
}

/// How many of the widths stated miss, by pattern and by what the finding on excitation says.
fn widths_stated(axes: &[Axis]) -> String {
    let mut out =
        "\n| pattern | excitation | widths stated | missed |\n|---|---|---|---|\n".to_owned();
    for (poor, pattern) in [(false, "steps of several sizes"), (true, "doublets")] {
        for (excited, says) in [(true, "holds"), (false, "fails")] {
            let of = axes.iter().filter(|axis| {
                let banded = KINDS[axis.group.kind].0 != DeadBandKind::None;
                banded && axis.group.poor == poor && axis.excited == excited
            });
            let widths = of.flat_map(|axis| &axis.numbers);
            let (mut stated, mut missed) = (0, 0);
            for width in widths.filter(|number| number.name == "dead band, deg") {
                if let Some([_, _, low, high]) = width.stated {
                    stated += 1;
                    missed += u32::from(!(low..=high).contains(&width.truth));
                }
            }
            out += &format!("| {pattern} | {says} | {stated} | {missed} |\n");
        }
    }
    out
}
