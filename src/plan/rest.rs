//! What a recorder shows at rest: rate, jitter, noise and smallest step of each column, from a log that is there.
//!
//! White noise is told from slow movement by the median absolute difference of neighbours; where most neighbours
//! are equal, the step of the reading is all that is known of it, and the noise is that of rounding
//! (step / sqrt 12, JCGM 100, F.2.2.1).

use std::path::{Path, PathBuf};

use indexmap::IndexMap;

use crate::config::{Firing, LogFile, Signal};
use crate::diagnostic::{Error, Place};
use crate::log::{Record, read_record, wanted_columns};
use crate::numeric::noise::sd_from_differences;
use crate::series::Series;

/// Share of a record, from its beginning, that is taken to be at rest when nothing else is known.
const HEAD: f64 = 0.15;
/// Fewest rows that say something.
const FEWEST_ROWS: usize = 40;

/// The logs that are there, by the names of their tables.
#[derive(Debug, Clone, Default)]
pub(crate) struct AtRest {
    records: IndexMap<String, Record>,
}

/// One column at rest, in the unit of its file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Still {
    /// Standard deviation of a reading.
    pub sd: f64,
    /// Smallest step between two readings; 0 where none shows.
    pub step: f64,
}

impl AtRest {
    /// Reads the logs of a firing that are there; `rest` are recordings in place of those that are not, each for
    /// the log whose columns it has.
    ///
    /// # Errors
    /// A log that is there and cannot be read; a recording that fits none of the logs.
    pub(crate) fn read(firing: &Firing, rest: &[&Path]) -> Result<Self, Error> {
        let mut out = Self::default();
        for (name, log) in &firing.logs {
            let wanted = wanted_columns(firing, name);
            let mut problems = None;
            let own = log.file.value.as_path();
            let own = own.is_file().then_some(own).into_iter();
            for path in rest.iter().copied().chain(own) {
                let mut log = log.clone();
                name_the_recording(&mut log, path);
                match read_record(&log, &wanted, &[]) {
                    Ok(record) => {
                        out.records.insert(name.clone(), record);
                        problems = None;
                        break;
                    }
                    Err(why) => problems = Some(why),
                }
            }
            if let Some(problems) = problems {
                return Err(problems);
            }
        }
        Ok(out)
    }

    /// The record of a log.
    #[must_use]
    pub(crate) fn record(&self, log: &str) -> Option<&Record> {
        self.records.get(log)
    }

    /// Rows a second of a log.
    #[must_use]
    pub(crate) fn rate_hz(&self, log: &str) -> Option<f64> {
        let record = self.records.get(log)?;
        let all = Series::new(&record.time_s, &record.time_s);
        all.step_s()
            .filter(|step| *step > 0.0)
            .map(|step| 1.0 / step)
    }

    /// Recordings alone, each for the logs whose columns it has; no log of the firing itself.
    ///
    /// # Errors
    /// A recording that fits none of the logs.
    pub(crate) fn only(firing: &Firing, recordings: &[PathBuf]) -> Result<Self, Error> {
        let mut out = Self::default();
        for path in recordings {
            let mut problems = None;
            let before = out.records.len();
            for (name, log) in &firing.logs {
                let mut log = log.clone();
                name_the_recording(&mut log, path);
                match read_record(&log, &wanted_columns(firing, name), &[]) {
                    Ok(record) => {
                        out.records.insert(name.clone(), record);
                    }
                    Err(why) => problems = Some(why),
                }
            }
            if let Some(problems) = problems.filter(|_| out.records.len() == before) {
                return Err(problems);
            }
        }
        Ok(out)
    }

    /// A whole column.
    #[must_use]
    pub(crate) fn all(&self, signal: &Signal) -> Option<Series> {
        let record = self.records.get(&signal.log.value)?;
        record.series(&signal.column.value, 0)
    }

    /// The beginning of a column.
    #[must_use]
    pub(crate) fn head(&self, signal: &Signal) -> Option<Series> {
        let record = self.records.get(&signal.log.value)?;
        let all = record.series(&signal.column.value, 0)?;
        let (from_s, to_s) = all.span_s()?;
        let head = all.between(from_s, from_s + HEAD * (to_s - from_s));
        Some(if head.len() < FEWEST_ROWS { all } else { head })
    }

    /// How a column reads at rest.
    #[must_use]
    pub(crate) fn still(&self, signal: &Signal) -> Option<Still> {
        still(self.head(signal)?.value())
    }
}

/// A recording in place of the log; what is wrong with it is told of the recording, which no firing file names.
fn name_the_recording(log: &mut LogFile, path: &Path) {
    if log.file.value != path {
        log.file.value = path.to_owned();
        log.file.place = Place::file(path.display().to_string());
    }
}

/// How readings at rest scatter; `None` for too few.
#[must_use]
pub(crate) fn still(values: &[f64]) -> Option<Still> {
    if values.len() < FEWEST_ROWS {
        return None;
    }
    let moves = values.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    let smallest = moves
        .filter(|step| *step > 0.0)
        .fold(f64::INFINITY, f64::min);
    let sd = sd_from_differences(values);
    let step = if smallest.is_finite() { smallest } else { 0.0 };
    // Among many readings without a step some two lie close together by chance.
    let step = if step > 0.3 * sd { step } else { 0.0 };
    Some(Still {
        sd: sd.max(step / 12.0_f64.sqrt()),
        step,
    })
}
