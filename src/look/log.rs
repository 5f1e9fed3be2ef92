//! One log, from its path to what was seen in it.

use std::path::Path;

use super::census::{Cells, census};
use super::levels::{self, Kind};
use super::role::role;
use super::{Clock, ColumnLook, EventSeen, LogLook, relation};
use crate::config::{LogFile, TimeColumn};
use crate::diagnostic::{Code, Diagnostic, Error, Located, Place, Warning};
use crate::log::Record;
use crate::log::dialect::{Dialect, Overrides};
use crate::log::lines::Lines;
use crate::log::outlier;
use crate::log::read::{find_dialect, record_of_bytes};
use crate::log::source::Source;
use crate::log::time_column::{self, TimeSource};
use crate::quantity::{Frequency, Given};
use crate::series::Series;

/// Rate that is assumed when a log has no clock and nobody says one: the faster of the two rates of
/// the converter most amateurs' load cells hang on (HX711 data sheet: 10 or 80 readings a second;
/// from memory).
const ASSUMED_RATE: &str = "80 Hz";

/// Events that are kept.
const EVENTS_KEPT: usize = 8;

/// Characters of an event that are kept.
const EVENT_CHARACTERS: usize = 200;

/// Looks at one log. `rate` stands in for a time column.
///
/// # Errors
/// The file is missing, empty or holds no rows, or its times cannot be read.
pub fn look_at(path: &Path, rate: Option<Given<Frequency>>) -> Result<LogLook, Error> {
    let bytes = Source::open(path)?.bytes(None)?;
    let file = path.display().to_string();
    let lines = Lines::new(&file, bytes.as_slice());
    let mut log = bare_log(path, &file);
    let dialect = find_dialect(&lines, &Overrides::of(&log))?;
    let cells = census(&lines, &dialect);
    log.missing = cells
        .iter()
        .filter(|one| one.holds_numbers())
        .flat_map(|one| one.different.clone())
        .collect();
    log.time = rate.map(TimeColumn::Rate);
    let clock = find_clock(&mut log, &lines, &dialect);
    let wanted = numbers(&file, &dialect, &cells);
    let record = record_of_bytes(&log, &wanted.iter().collect::<Vec<_>>(), &bytes)?;
    let mut out = describe(path, &dialect, &cells, clock, &record);
    if let Clock::Rate {
        rate_hz,
        stated: false,
    } = out.clock
    {
        let text = format!(
            "no column rises like a clock: times are counted at an assumed {rate_hz} Hz and mean nothing \
             until the rate is known"
        );
        let stated = time_column::stated_rate_note(rate_hz);
        out.notes.retain(|note| *note != stated);
        out.notes
            .push(format!("no clock: rows counted at an assumed {rate_hz} Hz"));
        out.warnings.push(Warning::from(
            &Diagnostic::warning(Code::AssumedRate, text)
                .at(Place::file(&out.file))
                .hint("say how many readings a second it took: --rate \"40 Hz\""),
        ));
    }
    Ok(out)
}

/// A log about which nobody has said anything.
fn bare_log(path: &Path, file: &str) -> LogFile {
    let name = path.file_stem().unwrap_or_default().to_string_lossy();
    LogFile {
        name: name.into_owned(),
        place: Place::file(file),
        file: Located {
            value: path.to_path_buf(),
            // A log is named after the file as written; a place that holds only that says it.
            place: Place {
                column: 1,
                width: file.chars().count(),
                text: file.to_owned(),
                ..Place::file(file)
            },
        },
        time: None,
        align: None,
        delimiter: None,
        decimal: None,
        comment: None,
        skip_lines: None,
        header: None,
        missing: vec![],
    }
}

/// The clock of a log; where there is none, a rate is assumed and put into the log.
fn find_clock(log: &mut LogFile, lines: &Lines, dialect: &Dialect) -> Clock {
    let stated = log.time.is_some();
    let name = |column: usize| dialect.names[column].clone();
    match time_column::find(log, lines, dialect) {
        Ok(found) => match found.source {
            TimeSource::Number { column, unit_s, .. } => Clock::Column {
                column: name(column),
                unit: unit_word(unit_s).to_owned(),
                guessed: found.assumed.is_some(),
                counter_bits: None,
            },
            TimeSource::Clock { column, format } => Clock::Text {
                column: name(column),
                format,
            },
            TimeSource::Rate(rate_hz) => Clock::Rate { rate_hz, stated },
        },
        Err(_) => {
            let assumed = crate::quantity::given::parse::<Frequency>(ASSUMED_RATE).ok();
            let rate_hz = assumed.as_ref().map_or(0.0, Given::si);
            log.time = assumed.map(TimeColumn::Rate);
            Clock::Rate {
                rate_hz,
                stated: false,
            }
        }
    }
}

/// The unit of a time column, from its size; the finder knows no others.
fn unit_word(unit_s: f64) -> &'static str {
    [("us", 1e-6), ("ms", 1e-3), ("s", 1.0), ("min", 60.0)]
        .iter()
        .find(|(_, size)| unit_s <= 1.5 * size && unit_s >= 0.5 * size)
        .map_or("ns", |(word, _)| word)
}

fn numbers(file: &str, dialect: &Dialect, cells: &[Cells]) -> Vec<Located<String>> {
    let named = dialect.names.iter().zip(cells);
    named
        .filter(|(_, cells)| cells.holds_numbers())
        .map(|(name, _)| Located {
            value: name.clone(),
            place: Place::file(file),
        })
        .collect()
}

fn describe(
    path: &Path,
    dialect: &Dialect,
    cells: &[Cells],
    mut clock: Clock,
    record: &Record,
) -> LogLook {
    let time_name = match &clock {
        Clock::Column { column, .. } | Clock::Text { column, .. } => Some(column.clone()),
        Clock::Rate { .. } => None,
    };
    if let Clock::Column {
        column,
        counter_bits,
        ..
    } = &mut clock
    {
        *counter_bits = counter_width(record, column);
    }
    let mut seen: Vec<(ColumnLook, Vec<Series>)> = dialect
        .names
        .iter()
        .zip(cells)
        .map(|(name, cells)| column(name, cells, time_name.as_deref() == Some(name), record))
        .collect();
    let shown = shown_stretch(&seen, record);
    for (column, stretches) in &mut seen {
        column.trace = stretches.get(shown).cloned().unwrap_or_default();
        if column.kind == Kind::TwoLevels {
            column.rises_s = levels::rises(&column.trace);
        }
    }
    let mut columns: Vec<ColumnLook> = seen.into_iter().map(|(column, _)| column).collect();
    name_computed(&mut columns);
    let events = record.events.iter().filter(|event| event.rows_before > 0);
    LogLook {
        file: record.file.clone(),
        path: path.to_path_buf(),
        sha256: record.sha256.clone(),
        clock,
        length_s: length_s(record, shown),
        stretches: record.segments.len(),
        shown_stretch: shown + 1,
        tally: record.tally.clone(),
        columns,
        events: events
            .take(EVENTS_KEPT)
            .map(|event| EventSeen {
                line: event.line,
                text: event.text.chars().take(EVENT_CHARACTERS).collect(),
            })
            .collect(),
        notes: record.notes.clone(),
        warnings: record.warnings.iter().map(Warning::from).collect(),
    }
}

/// One column, and its readings in each stretch of the clock.
fn column(name: &str, cells: &Cells, is_clock: bool, record: &Record) -> (ColumnLook, Vec<Series>) {
    let all = (0..record.segments.len()).filter_map(|nth| record.series(name, nth));
    let (stretches, taken): (Vec<Series>, Vec<usize>) = all
        .map(|series| outlier::separate(&series))
        .map(|(kept, taken)| (kept, taken.len()))
        .unzip();
    let (kind, burns) = if is_clock {
        (Kind::Clock, vec![])
    } else if !cells.holds_numbers() && cells.words > 0 {
        (Kind::Words, vec![])
    } else {
        levels::kind(&stretches)
    };
    let values = || stretches.iter().flat_map(Series::value).copied();
    let look = ColumnLook {
        name: name.to_owned(),
        kind,
        readings: values().count(),
        missing_words: if cells.holds_numbers() {
            cells.different.clone()
        } else {
            vec![]
        },
        least: values().reduce(f64::min),
        greatest: values().reduce(f64::max),
        wild: taken.iter().sum(),
        burns,
        rises_s: vec![],
        role: role(name),
        computed_from: None,
        trace: Series::default(),
    };
    (look, stretches)
}

/// Names the column that each computed one was computed from.
fn name_computed(columns: &mut [ColumnLook]) {
    for at in 1..columns.len() {
        let (earlier, later) = columns.split_at_mut(at);
        let Some(column) = later.first_mut().filter(|one| one.kind == Kind::Burns) else {
            continue;
        };
        let from = earlier
            .iter()
            .filter(|one| one.kind == Kind::Burns)
            .find(|one| relation::computed(&one.trace, &column.trace).is_some());
        column.computed_from = from.map(|one| one.name.clone());
    }
}

/// The stretch with the largest burn of the first column that burns, else the longest; from 0.
fn shown_stretch(columns: &[(ColumnLook, Vec<Series>)], record: &Record) -> usize {
    let burning = columns.iter().find_map(|(column, _)| column.largest_burn());
    let longest = (0..record.segments.len())
        .max_by(|a, b| length_s(record, *a).total_cmp(&length_s(record, *b)));
    burning.map_or_else(|| longest.unwrap_or(0), |burn| burn.stretch - 1)
}

fn length_s(record: &Record, stretch: usize) -> f64 {
    let rows = record.segments.get(stretch).cloned().unwrap_or(0..0);
    let times = record.time_s.get(rows).unwrap_or(&[]);
    times.last().copied().unwrap_or(0.0)
}

/// Width of a counter that was seen to run full.
fn counter_width(record: &Record, column: &str) -> Option<u32> {
    let guessed = record
        .warnings
        .iter()
        .any(|one| one.code == Code::GuessedCounter);
    let greatest = record
        .columns
        .get(column)?
        .iter()
        .copied()
        .fold(0.0, f64::max);
    guessed.then_some(if greatest < 65_536.0 { 16 } else { 32 })
}
