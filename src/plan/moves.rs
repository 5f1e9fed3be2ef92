//! Random moves of the steps of a pattern, and the bounds that a pattern keeps.

use super::families::Table;
use super::rehearsal::noise::Stream;

/// Smallest step of a command, deg.
const ROUND_DEG: f64 = 0.01;
/// Shortest stay, rows of the computer.
const FEWEST_ROWS: f64 = 2.0;
/// Fewest steps of a pattern, its end included.
const FEWEST_STEPS: usize = 5;

pub(super) fn round(value_deg: f64) -> f64 {
    (value_deg / ROUND_DEG).round() * ROUND_DEG
}

/// Where a pattern may go.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds {
    /// One row of the flight computer, s.
    pub row_s: f64,
    /// First and last change, s after the fire command.
    pub span_s: (f64, f64),
    /// Largest command, deg.
    pub limit_deg: f64,
}

impl Bounds {
    fn rows(&self, count: f64) -> f64 {
        count * self.row_s
    }

    /// One random move; `None` where it cannot be made or leaves the bounds.
    pub(super) fn moved(&self, table: &[(f64, f64)], stream: &mut Stream) -> Option<Table> {
        let mut out = table.to_vec();
        // The last row only ends the pattern.
        let at = stream.between(0.0, (out.len() - 1) as f64) as usize;
        let (from_s, value) = out[at];
        let lasts_rows = ((out[at + 1].0 - from_s) / self.row_s).round();
        match stream.between(0.0, 8.0) as usize {
            0 => {
                let any = stream.between(0.0, out.len() as f64) as usize;
                out[any].0 += self.rows(stream.between(-6.0, 7.0).floor());
            }
            1 => out[at].1 = round(value + 0.3 * self.limit_deg * stream.normal()),
            2 => out[at].1 = self.limit_deg * value.signum(),
            3 => {
                let rows = (stream.between(0.25, 0.75) * lasts_rows).round();
                let back = round(-value * stream.between(0.2, 1.0));
                out.insert(at + 1, (from_s + self.rows(rows), back));
            }
            4 => {
                // There and back within a stay.
                let first = stream
                    .between(FEWEST_ROWS, lasts_rows - 2.0 * FEWEST_ROWS)
                    .floor();
                let rows = stream
                    .between(FEWEST_ROWS, lasts_rows - first - 1.0)
                    .floor();
                let there_s = from_s + self.rows(first);
                let both = [(there_s, -value), (there_s + self.rows(rows), value)];
                out.splice(at + 1..at + 1, both);
            }
            5 if at + 2 < out.len() => {
                // A whole stay earlier or later.
                let by_s = self.rows(stream.between(-4.0, 5.0).floor());
                out[at].0 += by_s;
                out[at + 1].0 += by_s;
            }
            6 if at + 2 < out.len() => (out[at].1, out[at + 1].1) = (out[at + 1].1, value),
            7 if out.len() > FEWEST_STEPS => drop(out.remove(at)),
            _ => return None,
        }
        for (_, value) in &mut out {
            *value = value.clamp(-self.limit_deg, self.limit_deg);
        }
        self.hold(&out).then_some(out)
    }

    /// Whether every stay is long enough, and nothing moves before or after the span.
    fn hold(&self, table: &[(f64, f64)]) -> bool {
        let guard_s = 0.5 * self.row_s;
        let least_s = self.rows(FEWEST_ROWS) - guard_s;
        let apart = table
            .windows(2)
            .all(|pair| pair[1].0 - pair[0].0 >= least_s);
        let (from_s, to_s) = self.span_s;
        let inside = |at_s: f64| at_s >= from_s - guard_s && at_s <= to_s + guard_s;
        apart
            && table
                .first()
                .zip(table.last())
                .is_some_and(|(a, b)| inside(a.0) && inside(b.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moves_change_a_pattern_and_keep_its_bounds() {
        let bounds = Bounds {
            row_s: 0.005,
            span_s: (0.2, 1.0),
            limit_deg: 4.0,
        };
        let mut stream = Stream::new(3, "moves");
        let mut table = vec![(0.2, 2.0), (0.4, -3.0), (0.6, 4.0), (0.8, -1.0), (0.9, 0.0)];
        let (mut moves, mut longest) = (0, 0);
        for _ in 0..3000 {
            let Some(moved) = bounds.moved(&table, &mut stream) else {
                continue;
            };
            moves += 1;
            let stays = moved.windows(2).map(|pair| pair[1].0 - pair[0].0);
            assert!(stays.fold(f64::INFINITY, f64::min) > 0.0099, "{moved:?}");
            assert!(moved.iter().all(|(_, value)| value.abs() <= 4.0));
            assert!(moved[0].0 > 0.1999 && moved.last().is_some_and(|end| end.0 < 1.0001));
            assert!(moved.last().is_some_and(|end| end.1 == 0.0));
            table = moved;
            longest = longest.max(table.len());
        }
        assert!(moves > 500 && longest > 8, "{moves}, {longest}");
    }
}
