//! Motors: what was fired, and what the maker of each certified design promises.

use std::path::{Path, PathBuf};

use super::document::{self, Table};
use super::logs::{Signal, read_signal};
use crate::diagnostic::{Diagnostic, Located, Place, Problems, Source};
use crate::quantity::{Force, Given, Impulse, Length, Mass, Time};
use crate::series::Series;
use crate::uncertainty::Term;
use indexmap::IndexMap;

/// Motors of one firing at most: which of them lit is weighed for every combination.
pub const MOST_MOTORS: usize = 8;

/// One motor in the rig.
#[derive(Debug, Clone)]
pub struct Motor {
    /// Where its table stands.
    pub place: Place,
    /// The certified design it claims to be.
    pub certified: Option<Certified>,
    /// What it weighed.
    pub propellant: Propellant,
    /// Its igniter line.
    pub fire: Option<Signal>,
    /// Current through its igniter, in any unit.
    pub igniter: Option<Signal>,
    /// Distance of its axis from the rocket's axis, by steering axis; positive where its thrust
    /// makes positive tilt torque.
    pub offset: IndexMap<String, Given<Length>>,
}

/// What is known of the propellant.
#[derive(Debug, Clone, Default)]
pub struct Propellant {
    /// Propellant mass, as weighed or stated for this motor.
    pub mass: Option<Given<Mass>>,
    /// Motor before the firing.
    pub loaded: Option<Given<Mass>>,
    /// Motor after the firing.
    pub spent: Option<Given<Mass>>,
}

impl Propellant {
    /// What the uncertainty of the mass burnt is made of, kg; empty where nobody said.
    #[must_use]
    pub fn terms(&self, source: &str) -> Vec<Term> {
        let parts = match &self.mass {
            Some(mass) => [Some(mass), None],
            None => [self.loaded.as_ref(), self.spent.as_ref()],
        };
        parts
            .into_iter()
            .flatten()
            .filter_map(|part| Term::stated(source, part, 1.0))
            .collect()
    }

    /// Mass burnt and its standard uncertainty, kg: stated, else loaded minus spent.
    #[must_use]
    pub fn burnt_kg(&self) -> Option<(f64, Option<f64>)> {
        if let Some(mass) = &self.mass {
            return Some((mass.si(), mass.standard_uncertainty()));
        }
        let (loaded, spent) = (self.loaded.as_ref()?, self.spent.as_ref()?);
        let u = match (loaded.standard_uncertainty(), spent.standard_uncertainty()) {
            (Some(a), Some(b)) => Some(a.hypot(b)),
            (one, other) => one.or(other),
        };
        Some((loaded.si() - spent.si(), u))
    }
}

/// A certified motor design.
#[derive(Debug, Clone)]
pub struct Certified {
    /// The file it was read from.
    pub file: String,
    /// Its name.
    pub name: String,
    /// Designation, such as `E14-4`.
    pub designation: Option<String>,
    /// Total impulse.
    pub total_impulse: Option<Given<Impulse>>,
    /// Average thrust.
    pub average_thrust: Option<Given<Force>>,
    /// Peak thrust.
    pub peak_thrust: Option<Given<Force>>,
    /// Burn time.
    pub burn_time: Option<Given<Time>>,
    /// Propellant mass.
    pub propellant: Option<Given<Mass>>,
    /// Where the numbers come from.
    pub source: Option<String>,
    /// Thrust curve: s, N.
    pub thrust_curve: Option<Series>,
}

impl Certified {
    /// Stated total impulse, or the area of the curve, N s.
    #[must_use]
    pub fn total_impulse_ns(&self) -> Option<f64> {
        self.total_impulse.as_ref().map(Given::si).or_else(|| {
            self.thrust_curve
                .as_ref()
                .map(crate::numeric::trapezoid::area)
        })
    }
}

pub(super) fn read(table: &mut Table<'_>, folder: &Path) -> Option<Motor> {
    let place = table.place();
    let certified = table.text("certified").and_then(|file| {
        let path = folder.join(&file.value);
        match read_certified(&path) {
            Ok(certified) => Some(certified),
            Err(problems) => {
                for problem in problems.where_named(&file.place, &path).0 {
                    table.mistake(problem);
                }
                None
            }
        }
    });
    let propellant = Propellant {
        mass: table.positive("propellant"),
        loaded: table.positive("loaded"),
        spent: table.positive("spent"),
    };
    if propellant
        .burnt_kg()
        .is_some_and(|(mass_kg, _)| mass_kg <= 0.0)
    {
        let message = format!("`{}` weighs no less spent than loaded", table.name());
        table.mistake(Diagnostic::error("out-of-range", message).at(table.place()));
    }
    let fire = read_signal(table, "fire", folder);
    let igniter = read_signal(table, "igniter", folder);
    let mut offset = IndexMap::new();
    if let Some(mut offsets) = table.table("offset") {
        for axis in ["pitch", "yaw"] {
            if let Some(length) = offsets.quantity::<Length>(axis) {
                offset.insert(axis.to_owned(), length);
            }
        }
        offsets.finish();
    }
    Some(Motor {
        place,
        certified,
        propellant,
        fire,
        igniter,
        offset,
    })
}

/// Reads a certified-motor file.
///
/// # Errors
/// Every mistake in it.
pub fn read_certified(path: &Path) -> Result<Certified, Problems> {
    let source = Source::read(path)?;
    let folder = path.parent().map(Path::to_path_buf).unwrap_or_default();
    document::read(&source, |root| walk_certified(root, &source.file, &folder))
}

fn walk_certified(root: &mut Table<'_>, file: &str, folder: &Path) -> Option<Certified> {
    let name = root.need_text("name", "the motor's name");
    let listed = root.pairs("thrust_curve");
    let from_file: Option<Located<PathBuf>> = root.text("thrust_file").map(|name| Located {
        value: folder.join(&name.value),
        place: name.place,
    });
    let curve = match (listed, from_file) {
        (Some(_), Some(file)) => {
            root.mistake(
                Diagnostic::error("two-curves", "the thrust curve is told twice")
                    .at(file.place)
                    .hint("give thrust_curve or thrust_file, not both"),
            );
            None
        }
        (Some(points), None) => curve_from_pairs(root, &points),
        (None, Some(file)) => curve_from_file(root, &file),
        (None, None) => None,
    };
    let total_impulse = root.positive("total_impulse");
    check_area(root, curve.as_ref(), total_impulse.as_ref());
    Some(Certified {
        file: file.to_owned(),
        designation: root.text("designation").map(|text| text.value),
        total_impulse,
        average_thrust: root.positive("average_thrust"),
        peak_thrust: root.positive("peak_thrust"),
        burn_time: root.positive("burn_time"),
        propellant: root.positive("propellant"),
        source: root.text("source").map(|text| text.value),
        thrust_curve: curve,
        name: name?.value,
    })
}

fn curve_from_pairs(root: &Table<'_>, points: &[Located<(f64, f64)>]) -> Option<Series> {
    let mut curve = Series::default();
    for point in points {
        if let Err(problem) = add_point(&mut curve, point.value, &point.place) {
            root.mistake(*problem);
            return None;
        }
    }
    let place = points.first().map(|point| point.place.clone());
    check_curve(root, curve, place.or_else(|| root.place_of("thrust_curve")))
}

/// Latest time and largest thrust of a curve, s and N: beyond them the units are others.
const LATEST_S: f64 = 600.0;
const LARGEST_N: f64 = 1e5;

/// Most points of a curve.
const MOST_POINTS: usize = 10_000;

/// Adds a point that can be meant.
fn add_point(
    curve: &mut Series,
    (time_s, thrust_n): (f64, f64),
    place: &Place,
) -> Result<(), Box<Diagnostic>> {
    let wrong = |code, what: &str, hint: &str| {
        Err(Box::new(
            Diagnostic::error(code, what).at(place.clone()).hint(hint),
        ))
    };
    let sound = time_s >= 0.0 && thrust_n >= 0.0;
    if !sound || curve.time_s().last().is_some_and(|last| time_s <= *last) {
        let what = "times of a thrust curve rise, and nothing is negative";
        return wrong(
            "curve-order",
            what,
            "put the points in the order of their times, each time once",
        );
    }
    if time_s > LATEST_S {
        let what = format!("no motor burns at {time_s} s");
        return wrong(
            "curve-range",
            &what,
            "times of a thrust curve are in s, not in ms",
        );
    }
    if thrust_n > LARGEST_N {
        let what = format!("no motor here gives {thrust_n:e} N");
        return wrong("curve-range", &what, "thrust of a curve is in N");
    }
    if curve.len() == MOST_POINTS {
        let what = format!("a thrust curve has at most {MOST_POINTS} points");
        return wrong(
            "curve-long",
            &what,
            "thin it: published curves have some dozens",
        );
    }
    curve.push(time_s, thrust_n);
    Ok(())
}

fn curve_from_file(root: &Table<'_>, file: &Located<PathBuf>) -> Option<Series> {
    let source = match Source::read(&file.value) {
        Ok(source) => source,
        Err(problems) => {
            problems
                .where_named(&file.place, &file.value)
                .0
                .into_iter()
                .for_each(|problem| root.mistake(problem));
            return None;
        }
    };
    let mut curve = Series::default();
    let mut at = 0;
    for line in source.text.split_inclusive('\n') {
        let body = line.trim();
        let mut fields = body
            .split([',', ';', '\t'])
            .map(|field| field.trim().parse::<f64>());
        if let (Some(Ok(time_s)), Some(Ok(thrust_n))) = (fields.next(), fields.next()) {
            let place = source.place(at..at + line.trim_end().len());
            if let Err(problem) = add_point(&mut curve, (time_s, thrust_n), &place) {
                root.mistake(*problem);
                return None;
            }
        } else if !body.is_empty() && !body.starts_with('#') && !curve.is_empty() {
            root.mistake(
                Diagnostic::error(
                    "not-a-number",
                    "a thrust curve line needs time in s and thrust in N",
                )
                .at(source.place(at..at + line.trim_end().len()))
                .hint("correct the line, or put # in front of it"),
            );
            return None;
        }
        at += line.len();
    }
    check_curve(root, curve, Some(file.place.clone()))
}

fn check_curve(root: &Table<'_>, curve: Series, place: Option<Place>) -> Option<Series> {
    let (code, what) = if curve.len() < 2 {
        ("curve-short", "a thrust curve needs at least two points")
    } else if curve.value().iter().all(|thrust_n| *thrust_n == 0.0) {
        ("curve-flat", "the thrust curve is zero throughout")
    } else {
        return Some(curve);
    };
    root.mistake(
        Diagnostic::error(code, what)
            .at(place.unwrap_or_else(|| root.place()))
            .hint("write its points as [s, N], such as [[0.0, 0.0], [0.1, 20.0], [2.0, 0.0]]"),
    );
    None
}

/// A curve may differ from the impulse beside it by what certifying rounds and scatters, not by this factor.
const AREA_FACTOR: f64 = 2.0;

/// Refuses a curve whose area is not the impulse that is stated beside it.
fn check_area(root: &Table<'_>, curve: Option<&Series>, stated: Option<&Given<Impulse>>) {
    let (Some(curve), Some(stated)) = (curve, stated) else {
        return;
    };
    let (area, stated) = (crate::numeric::trapezoid::area(curve), stated.si());
    if (stated / AREA_FACTOR..=stated * AREA_FACTOR).contains(&area) {
        return;
    }
    let text =
        format!("the thrust curve holds {area:.4} N s, and `total_impulse` says {stated} N s");
    let places = ["thrust_curve", "thrust_file"].into_iter();
    let place = places.filter_map(|key| root.place_of(key)).next();
    root.mistake(
        Diagnostic::error("curve-area", text)
            .at(place.unwrap_or_else(|| root.place()))
            .hint("times are in s and thrust in N; one of the two is of another motor, or in other units"),
    );
}
