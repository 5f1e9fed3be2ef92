//! The pictures that a terminal shows, drawn in characters.

use crate::calibration::{Direction, Judgement, Residual};
use crate::look::{ColumnLook, Kind, LogLook};
use crate::quantity::Unit;
use crate::reduce::Reduction;
use crate::render::number;

use super::trace::trace;

/// Rows of the thrust trace: enough to tell a spike from a plateau.
const THRUST_ROWS: usize = 4;

/// Share of the burn time shown before ignition and after burnout.
const AROUND_BURN: f64 = 0.05;

/// Columns left of the thrust, for its scale.
const THRUST_SCALE: usize = 7;

/// Thrust around the burn with its scale, in seconds since ignition; nothing without one.
pub(super) fn thrust(reduction: &Reduction, columns: usize) -> Vec<String> {
    let burn = reduction.result.burn.as_ref();
    let ends = burn.and_then(|burn| Some((burn.ignition_s.as_ref()?, burn.burnout_s.as_ref()?)));
    let Some((ignition, burnout)) = ends else {
        return Vec::new();
    };
    let lasts_s = burnout.value - ignition.value;
    let margin_s = AROUND_BURN * lasts_s;
    let (from_s, to_s) = (ignition.value - margin_s, burnout.value + margin_s);
    let shown = reduction.traces.thrust_n.between(from_s, to_s);
    let columns = columns - THRUST_SCALE;
    let lines = trace(&shown, columns, THRUST_ROWS, false);
    let highest = shown
        .value()
        .iter()
        .copied()
        .reduce(f64::max)
        .unwrap_or(0.0);
    let scale = |nth: usize| match nth {
        0 => number::plain(highest, 2, Unit::Newton),
        nth if nth + 1 == THRUST_ROWS => "0".to_owned(),
        _ => String::new(),
    };
    let mut out: Vec<String> = lines
        .iter()
        .enumerate()
        .map(|(nth, line)| format!("{:>1$} {line}", scale(nth), THRUST_SCALE - 1))
        .collect();
    if !out.is_empty() {
        // Ignition and burnout lie as far from the ends as each other.
        let edge = (columns as f64 * AROUND_BURN / (1.0 + 2.0 * AROUND_BURN)) as usize;
        let lasts = number::plain(lasts_s, 3, Unit::Second);
        let gap =
            columns.saturating_sub(2 * edge + "^ ignition^".len() + lasts.chars().count() + 1);
        let (indent, gap) = (" ".repeat(THRUST_SCALE + edge), " ".repeat(gap));
        out.push(format!("{indent}^ ignition{gap}{lasts} ^"));
    }
    out
}

/// Rows of the trace of a column that burns.
const BURN_ROWS: usize = 4;

/// The trace of a column of a log; nothing for one that does not move.
pub(super) fn column(log: &LogLook, column: usize, columns: usize) -> Vec<String> {
    // Under the words of its column.
    let indent = |line: String| format!("  {line}");
    let (column, columns) = (&log.columns[column], columns - 2);
    let rows = match column.kind {
        Kind::Burns => BURN_ROWS,
        Kind::Moves | Kind::Steps | Kind::TwoLevels => 1,
        Kind::Clock | Kind::Words | Kind::Constant | Kind::Noise => return Vec::new(),
    };
    let mut out = trace(&column.trace, columns, rows, true);
    if column.kind == Kind::Burns {
        out.extend(axis(column, log, columns));
    }
    out.into_iter().map(indent).collect()
}

/// The line under a trace: its ends in words, carets at onset and end of the burns.
fn axis(column: &ColumnLook, log: &LogLook, width: usize) -> Option<String> {
    let (from_s, to_s) = column.trace.span_s()?;
    let mut line = vec![' '; width];
    let burns = column.burns.iter();
    for burn in burns.filter(|burn| burn.stretch == log.shown_stretch) {
        for at_s in [burn.onset_s, burn.end_s] {
            let share = (at_s - from_s) / (to_s - from_s);
            let at = (share * width as f64).clamp(0.0, width as f64 - 1.0) as usize;
            line[at] = '^';
        }
    }
    let ends = [from_s, to_s].map(|time_s| number::clock_time(time_s).chars().collect::<Vec<_>>());
    for (at, text) in [(0, &ends[0]), (width - ends[1].len(), &ends[1])] {
        let place = at..at + text.len();
        if line[place.clone()].iter().all(|ch| *ch == ' ') {
            line.splice(place, text.iter().copied());
        }
    }
    Some(line.into_iter().collect::<String>().trim_end().to_owned())
}

/// Rows of the drawing of residuals: an odd number, so that one is zero.
const RESIDUAL_ROWS: usize = 9;
/// Widest drawing, in columns.
const WIDEST_PLOT: usize = 66;
/// Columns left of the drawing, for its scale.
const SCALE_COLUMNS: usize = 11;

/// Residuals against load.
pub(super) fn residuals(judged: &Judgement, columns: usize) -> Vec<String> {
    let columns = (columns + 1 - SCALE_COLUMNS).min(WIDEST_PLOT);
    let largest = judged.largest_residual;
    let [low, high] = judged.range;
    if largest <= 0.0 || high <= low {
        return Vec::new();
    }
    let mut cells = vec![vec![' '; columns]; RESIDUAL_ROWS];
    cells[RESIDUAL_ROWS / 2].fill('-');
    for point in &judged.residuals {
        let Some(residual) = point.residual else {
            continue;
        };
        let across = (point.load - low) / (high - low) * (columns - 1) as f64;
        let down = (1.0 - residual / largest) * 0.5 * (RESIDUAL_ROWS - 1) as f64;
        let place = cells
            .get_mut(down.round() as usize)
            .and_then(|line| line.get_mut(across.round() as usize));
        if let Some(place) = place {
            *place = mark(*place, point);
        }
    }
    let load = |load: f64, digits| number::plain(load, digits, judged.unit);
    let scale = |nth: usize| match nth {
        0 => format!("+{}", load(largest, 3)),
        nth if nth == RESIDUAL_ROWS / 2 => "0".to_owned(),
        nth if nth == RESIDUAL_ROWS - 1 => load(-largest, 3),
        _ => String::new(),
    };
    let lines = cells.iter().enumerate();
    let mut out: Vec<String> = lines
        .map(|(nth, line)| {
            let line: String = line.iter().collect();
            format!("{:>SCALE_COLUMNS$}|{line}", scale(nth))
        })
        .collect();
    let (from, to) = (number::significant(low, 4), load(high, 4));
    let gap = columns.saturating_sub(from.chars().count() + to.chars().count());
    out.push(format!(
        "{:SCALE_COLUMNS$} {from}{}{to}",
        "",
        " ".repeat(gap)
    ));
    out
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
