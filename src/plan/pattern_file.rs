//! A test pattern as a file: `time_s` and the command of each axis, such as `pitch_deg`; each row is in force
//! until the next.

use std::path::Path;

use crate::diagnostic::{Code, Diagnostic, Error};
use crate::log::read_table;

/// The column of an axis.
pub(super) fn column(axis: &str) -> String {
    format!("{axis}_deg")
}

/// The pattern of an axis: when each value begins, s, and the value, deg.
///
/// # Errors
/// The file cannot be read, has no column for the axis, or its times do not rise from zero or later.
pub(super) fn read(path: &Path, axis: &str) -> Result<Vec<(f64, f64)>, Error> {
    let table = read_table(path, &path.display().to_string())?;
    let times_s = table.numbers("time_s")?;
    let values_deg = table.numbers(&column(axis))?;
    let before = |row: usize| row.checked_sub(1).map_or(0.0, |row| times_s[row]);
    let wrong = (0..times_s.len()).find(|row| {
        let rises = times_s[*row] > before(*row) || (*row == 0 && times_s[0] == 0.0);
        !rises || !values_deg[*row].is_finite()
    });
    if let Some(row) = wrong {
        let message = "a pattern needs times that rise from zero, and a number in each row";
        return Err(Diagnostic::error(Code::FallingTimes, message)
            .at(table.place(row, "time_s"))
            .into());
    }
    Ok(times_s.into_iter().zip(values_deg).collect())
}
