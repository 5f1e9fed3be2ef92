//! Several firings in one record: burns that lie far apart.
//!
//! Runs of thrust that [`super::search`] would join from the first to the last are told apart where
//! nothing burns for longer than any motor of one firing can be late. A motor that hangs fire for a
//! second or two still belongs to its firing.

use super::search::{AREA_SHARE, SHORTEST_S, area_above, high};

/// Burns with so much silence between them, s, are firings of their own. Common practice, no source:
/// igniters of one firing answer within a second or two, and nobody walks up within five.
const FAR_APART_S: f64 = 5.0;

/// One of the burns of a record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Burning {
    /// First reading at or above the level of the burn rule, s.
    pub from_s: f64,
    /// The last one, s.
    pub to_s: f64,
    /// Rough area above rest, N s.
    pub area_ns: f64,
    /// The part of the record that is nearer to this burn than to any other, s.
    pub segment_s: (f64, f64),
}

/// The burns of a record in the order of time; `fraction` is the burn rule's share of peak.
#[must_use]
pub(crate) fn burns(time_s: &[f64], load_n: &[f64], fraction: f64) -> Vec<Burning> {
    let (Some(found), Some(first_s), Some(last_s)) = (
        high(time_s, load_n, fraction),
        time_s.first().copied(),
        time_s.last().copied(),
    ) else {
        return Vec::new();
    };
    let areas: Vec<f64> = found
        .runs
        .iter()
        .map(|run| area_above(time_s, load_n, found.rest_n, run))
        .collect();
    let largest = areas.iter().copied().fold(0.0, f64::max);
    let mut out: Vec<Burning> = Vec::new();
    for (run, area_ns) in found.runs.iter().zip(areas) {
        if area_ns < AREA_SHARE * largest {
            continue;
        }
        let (from_s, to_s) = (time_s[run.start], time_s[run.end - 1]);
        match out.last_mut() {
            Some(burn) if from_s - burn.to_s <= FAR_APART_S => {
                burn.to_s = to_s;
                burn.area_ns += area_ns;
            }
            _ => out.push(Burning {
                from_s,
                to_s,
                area_ns,
                segment_s: (first_s, last_s),
            }),
        }
    }
    out.retain(|burn| burn.to_s - burn.from_s >= SHORTEST_S);
    for at in 1..out.len() {
        let middle_s = 0.5 * (out[at - 1].to_s + out[at].from_s);
        out[at - 1].segment_s.1 = middle_s;
        out[at].segment_s.0 = middle_s;
    }
    out
}

/// The burn with the largest area.
#[must_use]
pub(crate) fn largest(burns: &[Burning]) -> Option<&Burning> {
    burns.iter().max_by(|a, b| a.area_ns.total_cmp(&b.area_ns))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(burns: &[(f64, f64, f64)]) -> (Vec<f64>, Vec<f64>) {
        let time: Vec<f64> = (0..3000).map(|row| f64::from(row) * 0.01).collect();
        let load = time
            .iter()
            .enumerate()
            .map(|(row, t)| {
                let burn = burns.iter().find(|(from, to, _)| t >= from && t < to);
                burn.map_or(0.0, |burn| burn.2) + 0.02 * ((row * 7919) % 13) as f64 / 13.0
            })
            .collect();
        (time, load)
    }

    #[test]
    fn burns_far_apart_are_told_apart_and_a_late_motor_is_not() {
        let (time, load) = record(&[(2.0, 3.0, 10.0), (4.0, 5.0, 10.0), (20.0, 23.0, 8.0)]);
        let found = burns(&time, &load, 0.05);
        assert_eq!(found.len(), 2);
        assert_eq!((found[0].from_s, found[1].from_s), (2.0, 20.0));
        approx::assert_relative_eq!(found[0].to_s, 4.99, epsilon = 1e-9);
        // Rectangles of 20 N s and 24 N s, half a step more at either end of each.
        approx::assert_relative_eq!(found[0].area_ns, 20.0, max_relative = 0.02);
        assert_eq!(largest(&found), Some(&found[1]));
        approx::assert_relative_eq!(found[1].segment_s.0, 0.5 * (4.99 + 20.0), epsilon = 1e-9);
    }

    #[test]
    fn a_knock_far_away_is_no_burn() {
        let (time, load) = record(&[(2.0, 3.0, 10.0), (20.0, 20.02, 60.0)]);
        assert_eq!(burns(&time, &load, 0.05).len(), 1);
    }
}
