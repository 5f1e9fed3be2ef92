//! The rehearsal file: TOML, read key by key, refused whole with every mistake listed.

mod axis;
mod chamber;
mod check;
mod load;
mod motor;
mod range;
mod recorder;

use std::path::Path;

use indexmap::IndexMap;

use super::spec::{Claims, Rehearsal, StandTruth};
use crate::config::document::{self, Table};
use crate::diagnostic::{Diagnostic, Place, Problems, Source};
use crate::quantity::{
    Acceleration, Angle, Inertia, Length, Mass, Quantity, STANDARD_GRAVITY_M_S2, Time,
};

/// How long a fire line stays up when nothing is said, s: what igniters are commonly given.
const FIRE_LINE_S: f64 = 0.5;

/// Reads a rehearsal file. Every key is described in `docs/rehearsal.md`.
///
/// # Errors
/// Every mistake found in it, each with its place.
pub fn read_rehearsal(path: &Path) -> Result<Rehearsal, Problems> {
    let source = Source::read(path)?;
    let folder = path.parent().map(Path::to_path_buf).unwrap_or_default();
    let rehearsal = document::read(&source, |root| walk(root, &source.file, &folder))?;
    let at = |path: &str| {
        let keys: Vec<&str> = path.split('.').collect();
        document::place_of(&source, &keys)
    };
    let mut problems = check::cross_check(&rehearsal, &at);
    problems.extend(range::check(&rehearsal, &at));
    problems.sort_by_key(|one| one.place.as_ref().map(|place| (place.line, place.column)));
    if problems.is_empty() {
        Ok(rehearsal)
    } else {
        Err(Problems(problems))
    }
}

/// Where the value lies that keys lead to, with points between them.
type At<'a> = &'a dyn Fn(&str) -> Place;

fn walk(root: &mut Table<'_>, file: &str, folder: &Path) -> Option<Rehearsal> {
    let title = root
        .text("title")
        .map_or_else(|| file.to_owned(), |title| title.value);
    let date = root.date("date");
    if !root.has("seed") {
        root.missing("seed", "seed = 1, or any other whole number");
    }
    let seed = root.count("seed");
    let fire = root.need_quantity::<Time>("fire");
    let lasts = root.need_quantity::<Time>("lasts");
    let fire_line_s = or::<Time>(root, "fire_line", FIRE_LINE_S);
    let (gravity_m_s2, site_claims) = site(root);
    let recorders = each(root, "recorder", recorder::read);
    let stand = root
        .table("stand")
        .map_or_else(StandTruth::default, |mut table| {
            load::read_stand(&mut table)
        });
    let cells = each(root, "cell", load::read_cell);
    let tap = root.table("tap").and_then(|mut table| {
        let out = load::read_tap(&mut table, cells.keys().next());
        table.finish();
        out
    });
    let motors = each(root, "motor", |table| motor::read(table, folder));
    let chamber = root.table("chamber").and_then(|mut table| {
        let out = chamber::read(&mut table);
        table.finish();
        out
    });
    let axes = each(root, "axis", |table| axis::read(table, gravity_m_s2));
    let computer = root
        .table("computer")
        .and_then(|mut table| axis::read_computer(&mut table));
    let vehicle_claims = vehicle(root);
    if recorders.is_empty() {
        root.mistake(
            Diagnostic::error("no-log", "the rehearsal has no recorder")
                .at(Place::file(file))
                .hint("add a table such as [recorder.stand]"),
        );
    }
    Some(Rehearsal {
        file: file.to_owned(),
        title,
        date,
        seed: seed?.value,
        fire_s: fire?.si(),
        lasts_s: lasts?.si(),
        fire_line_s,
        gravity_m_s2,
        site_claims,
        recorders,
        cells,
        stand,
        tap,
        motors,
        chamber,
        axes,
        computer,
        vehicle_claims,
    })
}

fn each<T>(
    root: &mut Table<'_>,
    key: &'static str,
    mut one: impl FnMut(&mut Table<'_>) -> Option<T>,
) -> IndexMap<String, T> {
    let mut out = IndexMap::new();
    for (name, mut table) in root.named_tables(key) {
        if let Some(read) = one(&mut table) {
            out.insert(name, read);
        }
        table.finish();
    }
    out
}

/// A quantity in SI, or a default.
fn or<Q: Quantity>(table: &mut Table<'_>, key: &'static str, default_si: f64) -> f64 {
    table
        .quantity::<Q>(key)
        .map_or(default_si, |given| given.si())
}

/// A bare number, or a default.
fn number_or(table: &mut Table<'_>, key: &'static str, default: f64) -> f64 {
    table.number(key).map_or(default, |number| number.value)
}

/// A truth, and what the firing file will say of it: the `says` table of the same table overrules.
struct Says<'a> {
    said: Option<Table<'a>>,
    claims: Claims,
}

impl<'a> Says<'a> {
    fn open(table: &mut Table<'a>) -> Self {
        Self {
            said: table.table("says"),
            claims: Vec::new(),
        }
    }

    /// Reads a truth that the firing file also states; SI.
    fn quantity<Q: Quantity>(&mut self, table: &mut Table<'_>, key: &'static str) -> Option<f64> {
        let truth = table.quantity::<Q>(key);
        let own_words = truth.as_ref().and_then(|_| table.text(key));
        self.only_said::<Q>(key, own_words.map(|text| text.value));
        truth.map(|truth| truth.si())
    }

    /// Reads what the firing file will say, which nothing true stands behind, or other words.
    fn only_said<Q: Quantity>(&mut self, key: &'static str, otherwise: Option<String>) {
        let said = self.said.as_mut().and_then(|said| {
            said.quantity::<Q>(key)?;
            said.text(key).map(|text| text.value)
        });
        if let Some(words) = said.or(otherwise) {
            self.claims.push((key, words));
        }
    }

    /// Reads what the firing file will say in place of a bare number, without a unit.
    fn plain(&mut self, key: &'static str, otherwise: String) {
        let said = self.said.as_mut().and_then(|said| {
            said.plain_ratio(key)?;
            said.text(key).map(|text| text.value)
        });
        self.claims.push((key, said.unwrap_or(otherwise)));
    }

    fn close(self) -> Claims {
        if let Some(mut said) = self.said {
            said.finish();
        }
        self.claims
    }
}

/// Normal gravity on the WGS 84 ellipsoid (Somigliana) less the free-air gradient; NIMA TR8350.2,
/// 4-1 and 4-3.
fn gravity_at(latitude_rad: f64, altitude_m: f64) -> f64 {
    let sine = latitude_rad.sin();
    let square = sine * sine;
    let surface = 9.780_325_335_9 * (1.0 + 0.001_931_852_652_41 * square)
        / (1.0 - 0.006_694_379_990_14 * square).sqrt();
    surface - 3.086e-6 * altitude_m
}

fn site(root: &mut Table<'_>) -> (f64, Claims) {
    let Some(mut table) = root.table("site") else {
        return (STANDARD_GRAVITY_M_S2, vec![]);
    };
    let mut says = Says::open(&mut table);
    let latitude = says.quantity::<Angle>(&mut table, "latitude");
    let altitude = says.quantity::<Length>(&mut table, "altitude");
    let gravity = says.quantity::<Acceleration>(&mut table, "gravity");
    table.finish();
    let by_place = latitude.map(|latitude| gravity_at(latitude, altitude.unwrap_or(0.0)));
    let gravity = gravity.or(by_place).unwrap_or(STANDARD_GRAVITY_M_S2);
    (gravity, says.close())
}

fn vehicle(root: &mut Table<'_>) -> Claims {
    let Some(mut table) = root.table("vehicle") else {
        return vec![];
    };
    let mut says = Says::open(&mut table);
    says.quantity::<Mass>(&mut table, "mass");
    says.quantity::<Inertia>(&mut table, "inertia");
    says.quantity::<Length>(&mut table, "arm");
    table.finish();
    says.close()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    // NIMA TR8350.2, table 3.4: 9.7803253359 at the equator, 9.8321849378 at the poles.
    #[test]
    fn gravity_is_that_of_the_ellipsoid() {
        assert_abs_diff_eq!(gravity_at(0.0, 0.0), 9.780_325_335_9, epsilon = 1e-9);
        let pole = gravity_at(std::f64::consts::FRAC_PI_2, 0.0);
        assert_abs_diff_eq!(pole, 9.832_184_937_8, epsilon = 1e-9);
    }

    #[test]
    fn every_mistake_is_told_with_its_place() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("REHEARSAL.toml");
        let text = "seed = 1\nfire = \"2 s\"\nlasts = \"4 s\"\n[recorder.stand]\nfile = \"s.csv\"\n\
                    rate = 1000\nspeed = 3\n";
        std::fs::write(&path, text).unwrap();
        let found = read_rehearsal(&path).unwrap_err().render();
        assert!(
            found.contains("`recorder.stand.rate` needs a frequency with its unit"),
            "{found}"
        );
        assert!(
            found.contains("unknown key `speed` in `recorder.stand`"),
            "{found}"
        );
    }
}
