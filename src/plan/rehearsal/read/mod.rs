//! The rehearsal file: TOML, read by its declared keys, refused whole with every mistake listed.

mod axis;
mod cell;
mod chamber;
mod check;
mod computer;
mod motor;
mod recorder;
mod stand;

use std::path::Path;

pub(in crate::plan) use motor::ROUGHNESS_BAND_HZ;

use super::run::STEPS_PER_SECOND;
use super::spec::{Claims, Rehearsal};
use crate::config::each;
use crate::config::keys::{self, Key, SAYS, Table, count, date, quantity, table, tables, text};
use crate::diagnostic::{Code, Diagnostic, Error, Place, Source};
use crate::quantity::range::Range;
use crate::quantity::{Acceleration, Angle, Inertia, Length, Mass, STANDARD_GRAVITY_M_S2, Time};

/// The keys of a rehearsal file.
#[rustfmt::skip] // one key a line
pub(crate) const KEYS: &[Key] = &[
    text("title", "title of the firing; the file's name when absent"),
    date("date", "when it was fired"),
    count("seed", "where all random numbers start").needed(),
    quantity::<Time>("fire", "the fire command, after the first row of the first recorder").needed(),
    quantity::<Time>("lasts", "length of the first recorder's log").range(Range::AboveUpTo(0.0, 600.0), "s").needed(),
    // What igniters are commonly given.
    quantity::<Time>("fire_line", "how long a fire line stays up").default("0.5 s"),
    table("site", SITE, "where it is fired; standard gravity when absent"),
    tables("recorder", recorder::KEYS, "one recorder; the first one's clock is that of the truth"),
    tables("cell", cell::KEYS, "one load cell"),
    table("stand", stand::KEYS, "the rig along thrust"),
    table("tap", stand::TAP, "a tap test before the firing, in a log of its own"),
    tables("motor", motor::KEYS, "one motor"),
    table("chamber", chamber::KEYS, "the chamber whose pressure is measured"),
    tables("axis", axis::KEYS, "one steering axis"),
    table("computer", computer::KEYS, "the flight computer"),
    table("vehicle", VEHICLE, "the free rocket; only stated"),
];

#[rustfmt::skip] // one key a line
const SITE: &[Key] = &[
    quantity::<Angle>("latitude", "geographic latitude").between(-90.0, 90.0, "deg").stated(),
    quantity::<Length>("altitude", "height above the ellipsoid").between(-500.0, 9000.0, "m").stated(),
    quantity::<Acceleration>("gravity", "gravity, in place of the two above").above_zero().stated(),
    SAYS,
];

#[rustfmt::skip] // one key a line
const VEHICLE: &[Key] = &[
    quantity::<Mass>("mass", "its mass").above_zero().stated(),
    quantity::<Inertia>("inertia", "about its own centre of gravity").above_zero().stated(),
    quantity::<Length>("arm", "centre of gravity to swivel point").above_zero().stated(),
    SAYS,
];

/// Reads a rehearsal file. Every key is described in `docs/rehearsal.md`.
///
/// # Errors
/// Every mistake found in it, each with its place.
pub fn read_rehearsal(path: &Path) -> Result<Rehearsal, Error> {
    let source = Source::read(path)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let rehearsal = keys::read(&source, folder, KEYS, |root| walk(root, &source.file))?;
    let at = |path: &str| {
        let keys: Vec<&str> = path.split('.').collect();
        keys::place_of(&source, &keys)
    };
    let mut problems = check::cross_check(&rehearsal, &at);
    problems.sort_by_key(|one| one.place.as_ref().map(|place| (place.line, place.column)));
    Error::if_any(problems)?;
    Ok(rehearsal)
}

/// Where the value lies that keys lead to, with points between them.
type At<'a> = &'a dyn Fn(&str) -> Place;

fn walk(root: &Table<'_>, file: &str) -> Option<Rehearsal> {
    let title = root.text("title");
    let (gravity_m_s2, site_claims) = site(root);
    let cells = each(root, "cell", |_, table| cell::read(table));
    let tap = root.table("tap");
    let tap = tap.and_then(|table| stand::read_tap(table, cells.keys().next()));
    let recorders = each(root, "recorder", |_, table| recorder::read(table));
    let motors = each(root, "motor", |_, table| motor::read(table));
    if root.tables("recorder").is_empty() {
        root.mistake(
            Diagnostic::error(Code::NoLog, "the rehearsal has no recorder")
                .at(Place::file(file))
                .hint("add a table such as [recorder.stand]"),
        );
    }
    let vehicle = root.table("vehicle");
    Some(Rehearsal {
        file: file.to_owned(),
        title: title.map_or_else(|| file.to_owned(), |title| title.value),
        date: root.text("date").map(|date| date.value),
        seed: root.count("seed")?,
        fire_s: root.si::<Time>("fire")?,
        lasts_s: root.si::<Time>("lasts")?,
        steps_per_second: STEPS_PER_SECOND,
        fire_line_s: root.si_or_default::<Time>("fire_line"),
        gravity_m_s2,
        site_claims,
        recorders,
        cells,
        stand: root.table("stand").map(stand::read).unwrap_or_default(),
        tap,
        motors,
        chamber: root.table("chamber").and_then(chamber::read),
        axes: each(root, "axis", |_, table| axis::read(table, gravity_m_s2)),
        computer: root.table("computer").and_then(computer::read),
        vehicle_claims: vehicle.map(Table::stated).unwrap_or_default(),
    })
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

fn site(root: &Table<'_>) -> (f64, Claims) {
    let Some(table) = root.table("site") else {
        return (STANDARD_GRAVITY_M_S2, vec![]);
    };
    let altitude = table.si::<Length>("altitude").unwrap_or(0.0);
    let latitude = table.si::<Angle>("latitude");
    let by_place = latitude.map(|latitude| gravity_at(latitude, altitude));
    let gravity = table.si::<Acceleration>("gravity").or(by_place);
    (gravity.unwrap_or(STANDARD_GRAVITY_M_S2), table.stated())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::keys::Kind;
    use approx::assert_abs_diff_eq;

    #[test]
    fn the_keys_of_a_rehearsal_are_declared_well() {
        keys::tests::hold(KEYS);
    }

    // The page's blocks are one file, which the test suite runs, so that no key of theirs is unknown.
    #[test]
    fn the_page_names_every_key() {
        let page = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/rehearsal.md");
        let page = std::fs::read_to_string(page).unwrap();
        fn look(keys: &'static [Key], page: &str) {
            for key in keys {
                let mut words =
                    page.split(|letter: char| !letter.is_alphanumeric() && letter != '_');
                assert!(
                    words.any(|word| word == key.name),
                    "{} is not in docs/rehearsal.md",
                    key.name
                );
                match key.kind {
                    Kind::Table(keys) | Kind::Tables(keys) => look(keys, page),
                    Kind::TablesBy(_, of) => look(of("tilt.pitch"), page),
                    _ => {}
                }
            }
        }
        look(KEYS, &page);
    }

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
