//! A trace drawn in block characters: a first look at a shape, without numbers.

use crate::series::Series;

/// Eighths of a block, from empty to full.
const BLOCKS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// Lines of block characters, the highest first, each `width` columns wide. The largest reading of
/// a column is drawn, from zero (or the lowest of them, with `from_lowest`) to the highest.
#[must_use]
pub(super) fn trace(series: &Series, width: usize, rows: usize, from_lowest: bool) -> Vec<String> {
    let columns = columns(series, width);
    let Some(top) = columns.iter().copied().reduce(f64::max) else {
        return vec![];
    };
    let floor = if from_lowest {
        columns.iter().copied().fold(f64::INFINITY, f64::min)
    } else {
        0.0
    };
    let steps = (rows * (BLOCKS.len() - 1)) as f64;
    let height = |value: &f64| {
        if top > floor {
            ((value - floor) / (top - floor) * steps).round().max(0.0) as usize
        } else {
            0
        }
    };
    let heights: Vec<usize> = columns.iter().map(height).collect();
    (0..rows)
        .rev()
        .map(|row| {
            let below = row * (BLOCKS.len() - 1);
            let line: String = heights
                .iter()
                .map(|height| BLOCKS[height.saturating_sub(below).min(BLOCKS.len() - 1)])
                .collect();
            line.trim_end().to_owned()
        })
        .collect()
}

/// The largest reading in each of `width` equal stretches of time; an empty one takes the line
/// between its neighbours.
fn columns(series: &Series, width: usize) -> Vec<f64> {
    let Some((from, to)) = series.span_s().filter(|(from, to)| to > from) else {
        return vec![];
    };
    let edge = |column: usize| from + (to - from) * column as f64 / width as f64;
    (0..width)
        .filter_map(|column| {
            let start = series.index_at(edge(column));
            let end = series.index_at(edge(column + 1));
            let values = series.value().get(start..end).unwrap_or(&[]);
            let highest = values.iter().copied().reduce(f64::max);
            highest.or_else(|| series.at(0.5 * (edge(column) + edge(column + 1))))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ramp_rises_and_a_single_spike_shows() {
        let time: Vec<f64> = (0..800).map(f64::from).collect();
        let ramp = Series::new(&time, &time);
        assert_eq!(trace(&ramp, 8, 1, false), ["▁▂▃▄▅▆▇█"]);
        let mut spike = vec![0.0; 800];
        spike[450] = 1.0;
        let spike = Series::new(&time, &spike);
        assert_eq!(trace(&spike, 8, 2, false), ["    █", "    █"]);
    }

    #[test]
    fn nothing_gives_nothing() {
        assert!(trace(&Series::default(), 8, 2, false).is_empty());
        let flat = Series::new(&[0.0, 1.0], &[0.0, 0.0]);
        assert_eq!(trace(&flat, 8, 1, true), [""]);
    }
}
