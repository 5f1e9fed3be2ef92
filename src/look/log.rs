//! One log, from its path to what was seen in it.

use std::path::Path;

use super::burning::Seen;
use super::census::{Cells, census};
use super::levels::{self, Kind};
use super::preamble::{Preamble, preamble};
use super::role::role;
use super::{Clock, ColumnLook, EventSeen, LogLook, Signal, relation};
use crate::config::{LogFile, TimeColumn};
use crate::diagnostic::{Code, Diagnostic, Error, Located, Place, Warning};
use crate::log::dialect::{Dialect, Overrides};
use crate::log::lines::Lines;
use crate::log::means::Averaging;
use crate::log::outlier;
use crate::log::read::{find_dialect, record_of_bytes};
use crate::log::source::Source;
use crate::log::stream::{glance, head_of_long};
use crate::log::time_column::{self, TimeSource};
use crate::log::{ReadingRange, Record};
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

/// Means that a long log is looked at by: more than any screen shows.
const MEANS: u64 = 250_000;

/// A log of which fewer readings would make one is read whole.
const FEWEST_IN_ONE: u64 = 2;

/// Looks at one log. `rate` stands in for a time column.
///
/// A long log is looked at as it goes by: which columns hold numbers is seen in its first megabyte,
/// and traces, burns and the length are those of means of some readings. Where that will not do it is read whole.
///
/// # Errors
/// The file is missing, empty or holds no rows, or its times cannot be read.
pub fn look_at(path: &Path, rate: Option<Given<Frequency>>) -> Result<LogLook, Error> {
    let source = Source::open(path)?;
    let file = path.display().to_string();
    if let Some(head) = head_of_long(&source, &file)? {
        let passing = |log: &LogFile, wanted: &[&Located<String>], clock: &Clock| {
            let clock = match clock {
                Clock::Column { column, .. } => Some(column.as_str()),
                Clock::Text { .. } | Clock::Rate { .. } => None,
            };
            // As many rows as if all bytes were like the first ones.
            let length = source.plain_length().unwrap_or(0);
            let rows = head.len() as u64 * length / (head.bytes().len() as u64).max(1);
            let names: Vec<&str> = wanted.iter().map(|one| one.value.as_str()).collect();
            let group = rows / MEANS;
            if group < FEWEST_IN_ONE {
                return Ok(None);
            }
            let averaging = Averaging::at_a_glance(&names, clock, group as usize);
            glance(log, (&source, &head), wanted, &averaging)
        };
        if let Ok(Some(out)) = look_over(path, &head, rate, passing) {
            return Ok(out);
        }
    }
    let bytes = source.bytes(None)?;
    let lines = Lines::new(&file, bytes.as_slice());
    let whole = |log: &LogFile, wanted: &[&Located<String>], _: &Clock| {
        record_of_bytes(log, wanted, &bytes).map(Some)
    };
    let out = look_over(path, &lines, rate, whole)?;
    out.ok_or_else(|| Diagnostic::error(Code::NoRows, "nothing to look at").into())
}

/// Looks at a log of which some lines are at hand and `read` gives the rest, if it can.
fn look_over(
    path: &Path,
    lines: &Lines,
    rate: Option<Given<Frequency>>,
    read: impl FnOnce(&LogFile, &[&Located<String>], &Clock) -> Result<Option<Record>, Error>,
) -> Result<Option<LogLook>, Error> {
    let file = lines.file();
    let mut log = bare_log(path, file);
    let dialect = find_dialect(lines, &Overrides::of(&log))?;
    let cells = census(lines, &dialect);
    log.missing = cells
        .iter()
        .filter(|one| one.holds_numbers())
        .flat_map(|one| one.different.clone())
        .collect();
    log.time = rate.map(TimeColumn::Rate);
    let above = preamble(lines, &dialect);
    let clock = find_clock(&mut log, lines, &dialect, above.rate);
    let wanted = numbers(file, &dialect, &cells);
    let Some(record) = read(&log, &wanted.iter().collect::<Vec<_>>(), &clock)? else {
        return Ok(None);
    };
    let mut out = describe(path, (&dialect, &above), &cells, clock, record);
    out.no_log = no_log(&out, lines);
    if let Clock::Rate {
        line: Some(line), ..
    } = out.clock
    {
        out.notes.push(format!("line {line} states the rate"));
    }
    if let Clock::Rate {
        rate_hz,
        stated: false,
        ..
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
    Ok(Some(out))
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
        held: None,
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
fn find_clock(
    log: &mut LogFile,
    lines: &Lines,
    dialect: &Dialect,
    above: Option<(f64, usize)>,
) -> Clock {
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
            TimeSource::Rate(rate_hz) => Clock::Rate {
                rate_hz,
                stated,
                line: None,
            },
        },
        Err(_) => {
            let text = above.map_or_else(
                || ASSUMED_RATE.to_owned(),
                |(rate_hz, _)| format!("{rate_hz} Hz"),
            );
            let rate = crate::quantity::given::parse::<Frequency>(&text).ok();
            let rate_hz = rate.as_ref().map_or(0.0, Given::si);
            log.time = rate.map(TimeColumn::Rate);
            Clock::Rate {
                rate_hz,
                stated: above.is_some(),
                line: above.map(|(_, line)| line),
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
    (dialect, above): (&Dialect, &Preamble),
    cells: &[Cells],
    mut clock: Clock,
    mut record: Record,
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
        *counter_bits = counter_width(&record, column);
    }
    // Of a column that does not stand on few levels its means say more than its changes.
    record.changes.retain(|_, changes| levels::are_few(changes));
    let record = &record;
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
    let said = above.title.iter().zip(&above.unit);
    for (column, (title, unit)) in columns.iter_mut().zip(said) {
        column.role = role(title.as_ref().unwrap_or(&column.name), unit.as_deref());
        column.title.clone_from(title);
    }
    relate(&mut columns);
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
        no_log: None,
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
    let averaged = record.is_averaged();
    let all = (0..record.segments.len()).filter_map(|nth| record.series(name, nth));
    let (stretches, taken): (Vec<Series>, Vec<usize>) = all
        .map(|series| match averaged {
            true => (series, vec![]),
            false => outlier::separate(&series),
        })
        .map(|(kept, taken)| (kept, taken.len()))
        .unzip();
    let (kind, seen) = if is_clock {
        (Kind::Clock, Seen::default())
    } else if !cells.holds_numbers() && cells.words > 0 {
        (Kind::Words, Seen::default())
    } else {
        levels::kind(&stretches, record.changes.contains_key(name))
    };
    let values = || stretches.iter().flat_map(Series::value).copied();
    let range = record.ranges.get(name).copied();
    let range = range.unwrap_or_else(|| ReadingRange {
        readings: values().count(),
        ends: values().reduce(f64::min).zip(values().reduce(f64::max)),
    });
    let look = ColumnLook {
        name: name.to_owned(),
        title: None,
        kind,
        readings: range.readings,
        missing_words: if cells.holds_numbers() {
            cells.different.clone()
        } else {
            vec![]
        },
        least: range.ends.map(|ends| ends.0),
        greatest: range.ends.map(|ends| ends.1),
        wild: match averaged {
            true => record.outliers_of(name),
            false => taken.iter().sum(),
        },
        burns: seen.burns,
        unclear: seen.unclear,
        all_burn: seen.all_burn,
        rises_s: vec![],
        role: None,
        computed_from: None,
        sum_of: vec![],
        trace: Series::default(),
    };
    (look, stretches)
}

/// Columns that are held against one another, at most: every three of them are.
const RELATED_MOST: usize = 12;

/// Names the columns that each computed one was computed from.
fn relate(columns: &mut [ColumnLook]) {
    let may_be_force = |one: &ColumnLook| {
        let role = one.role.as_ref();
        matches!(one.kind, Kind::Burns | Kind::Moves)
            && role.is_none_or(|role| role.signal == Signal::Force)
    };
    let related: Vec<usize> = (0..columns.len())
        .filter(|at| may_be_force(&columns[*at]))
        .take(RELATED_MOST)
        .collect();
    let trace = |at: usize| &columns[at].trace;
    let mut found: Vec<(usize, Option<usize>, Vec<usize>)> = Vec::new();
    for (nth, at) in related.iter().enumerate() {
        let mut earlier = related[..nth].iter().copied();
        let from = earlier.find(|from| relation::computed(trace(*from), trace(*at)).is_some());
        let pairs = related
            .iter()
            .enumerate()
            .flat_map(|(nth, a)| related[nth + 1..].iter().map(move |b| [*a, *b]));
        let parts = pairs
            .filter(|pair| !pair.contains(at))
            .find(|[a, b]| relation::sum([trace(*a), trace(*b)], trace(*at)));
        found.push((*at, from, parts.map_or(vec![], |pair| pair.to_vec())));
    }
    for (at, from, parts) in found {
        columns[at].computed_from = from.map(|from| columns[from].name.clone());
        columns[at].sum_of = parts
            .iter()
            .map(|part| columns[*part].name.clone())
            .collect();
    }
}

/// Rows of a log without a clock, at least: a table of results or of points is shorter.
const FEWEST_ROWS: usize = 40;

/// A log is mostly rows: below this share of its lines that say anything it is text with numbers in it.
const FEWEST_SHARE: f64 = 0.2;

/// What a file is that is no log; `None` for a log.
fn no_log(look: &LogLook, lines: &Lines) -> Option<&'static str> {
    let rows = look.tally.rows_read;
    let spoken = (0..lines.len()).filter(|at| !lines.get(*at).trim_ascii().is_empty());
    let unclocked = matches!(
        look.clock,
        Clock::Rate {
            line: None,
            stated: false,
            ..
        }
    );
    let weights = |one: &ColumnLook| {
        let name = one.name.to_lowercase();
        ["mass", "weight", "load_", "force_"]
            .iter()
            .any(|word| name.contains(word))
    };
    let raw = |one: &ColumnLook| {
        let name = one.name.to_lowercase();
        ["raw", "count", "reading", "adc"]
            .iter()
            .any(|word| name.contains(word))
    };
    let has = |wanted: &dyn Fn(&ColumnLook) -> bool| look.columns.iter().any(wanted);
    // Rising readings of rising loads look like a clock.
    let by_points = match &look.clock {
        Clock::Column { column, .. } => {
            let clock = look.columns.iter().find(|one| one.name == *column);
            clock.is_some_and(|one| raw(one) || weights(one))
        }
        Clock::Text { .. } | Clock::Rate { .. } => unclocked,
    };
    if unclocked && rows < FEWEST_ROWS && (rows as f64) < FEWEST_SHARE * spoken.count() as f64 {
        Some("text with a few numbers in it, such as a script or notes")
    } else if by_points
        && has(&|one| weights(one) && !raw(one))
        && has(&raw)
        && !has(&|one| one.kind == Kind::Burns)
    {
        Some("a table of known weights and readings: burnwright calibrate fits a curve to it")
    } else if unclocked && rows < FEWEST_ROWS {
        Some("a short table without a clock, such as one of results")
    } else {
        None
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
