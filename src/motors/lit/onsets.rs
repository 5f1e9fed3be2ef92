//! Where each motor of a set begins, and where it goes out early: a search over a grid.
//!
//! The cost of an onset has a valley wherever the thrust rises, and a descent ends in the nearest
//! one. So each motor in turn is moved to the best of all onsets and ends while the others stay,
//! until nothing moves; for each onset and end the best impulse is closed. Two starts: all motors
//! begin with the burn, and the motors added one by one, largest first. Where two motors were taken for
//! one another, no move of one alone helps: then two are moved at a time, over a coarser grid.

use super::part::{Burning, Part, Pattern};
use super::pieces::ThrustPieces;
use super::prior::Hold;

/// Onsets tried in each piece.
const PER_PIECE: f64 = 4.0;

/// Shape error of a piece during the search, relative to the peak: the valleys stay wide.
const SHAPE_ERROR: f64 = 0.03;

/// Starts kept of those tried when nothing explains the record.
const MORE_STARTS: usize = 8;

/// Where two motors are moved at a time, every so-manieth onset and end is tried, and so many places are
/// kept.
const COARSE: usize = 4;
const COARSE_ENDS: usize = 2;
const PAIRS_KEPT: usize = 4;

/// Two motors are moved at a time in sets of no more than so many.
pub(super) const PAIRED: usize = 5;

/// Times at which a motor is tried to light late or to go out.
const TIMES: usize = 3;

/// Most turns of all motors.
const TURNS: usize = 6;

/// All pairs.
pub(super) fn pairs(count: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..count).flat_map(move |a| (a + 1..count).map(move |b| (a, b)))
}

/// Means of every pattern at every onset of the grid.
pub(super) struct Grid<'a> {
    pieces: &'a ThrustPieces,
    onset_s: Vec<f64>,
    /// For each pattern and onset: mean of each piece.
    means: Vec<Vec<Vec<f64>>>,
}

/// One motor on the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Placed {
    /// Index of the onset.
    at: usize,
    /// Pieces until it goes out; all of them when it does not.
    until: usize,
    relative: f64,
    weak: bool,
    /// Twice the negative logarithm of likelihood and prior, but for a constant.
    cost: f64,
}

/// One motor on the coarser grid, as strong as certified.
struct Coarse<'a> {
    at: usize,
    until: usize,
    mean: &'a [f64],
    /// What its way to burn costs.
    way: f64,
}

impl Coarse<'_> {
    fn placed(&self, cost: f64) -> Placed {
        Placed {
            at: self.at,
            until: self.until,
            relative: 1.0,
            weak: false,
            cost,
        }
    }
}

impl<'a> Grid<'a> {
    /// Tabulates patterns.
    pub(super) fn new(pieces: &'a ThrustPieces, patterns: &[Pattern]) -> Self {
        let step = (pieces.edge_s[1] - pieces.edge_s[0]) / PER_PIECE;
        let (from, to) = (
            pieces.prior.window_s.0 - 2.0 * step,
            pieces.prior.window_s.1,
        );
        let onset_s: Vec<f64> = (0..((to - from) / step).ceil() as usize)
            .map(|at| from + step * at as f64)
            .collect();
        let means = patterns.iter().map(|pattern| {
            let each = onset_s.iter().map(|onset| {
                let part = Part {
                    onset_s: *onset,
                    height: 1.0,
                    stretch: 1.0,
                    out_s: None,
                };
                pieces.of_part(pattern, part).collect()
            });
            each.collect()
        });
        Self {
            pieces,
            means: means.collect(),
            onset_s,
        }
    }

    /// Starts for the motors of a set, each given by its pattern.
    pub(super) fn starts(&self, set: &[usize]) -> Vec<Vec<Burning>> {
        let first = self.at_once();
        let together = self.settled(set, vec![Some(first); set.len()]);
        let added = self.settled(set, vec![None; set.len()]);
        let mut starts = vec![together];
        if starts[0] != added {
            starts.push(added);
        }
        starts
            .into_iter()
            .map(|placed| placed.into_iter().map(|one| self.burning(one)).collect())
            .collect()
    }

    /// More starts for a record that the others did not explain.
    pub(super) fn more_starts(&self, set: &[usize]) -> Vec<Vec<Burning>> {
        let mut found: Vec<Vec<Placed>> = Vec::new();
        let starts = self.late_and_out(set).into_iter();
        for placed in starts.chain(self.two_elsewhere(set)) {
            let settled = self.settled(set, placed);
            if !found.contains(&settled) {
                found.push(settled);
            }
        }
        let cost = |placed: &Vec<Placed>| {
            let some: Vec<Option<Placed>> = placed.iter().copied().map(Some).collect();
            let left = self.left(set, &some, usize::MAX);
            left.iter().map(|left| left * left).sum::<f64>()
        };
        found.sort_by(|a, b| cost(a).total_cmp(&cost(b)));
        let kept = found.into_iter().take(MORE_STARTS);
        kept.map(|placed| placed.into_iter().map(|one| self.burning(one)).collect())
            .collect()
    }

    /// One motor lights late and one goes out, each of them in turn and at several times.
    fn late_and_out(&self, set: &[usize]) -> Vec<Vec<Option<Placed>>> {
        let all = self.pieces.mean_n.len();
        let ways = 1 + TIMES * set.len();
        let time = |way: usize, all: usize| (way % TIMES + 1) * all / (TIMES + 1);
        let each = (0..ways).flat_map(|late| (0..ways).map(move |out| (late, out)));
        each.map(|(late, out)| {
            let mut placed = vec![Some(self.at_once()); set.len()];
            if let Some(Some(one)) = placed.get_mut(late / TIMES) {
                one.at = time(late, self.onset_s.len());
            }
            if let Some(Some(one)) = placed.get_mut(out / TIMES) {
                one.until = time(out, all);
            }
            placed
        })
        .collect()
    }

    /// Two motors lie where both fit best while the others burn as certified.
    fn two_elsewhere(&self, set: &[usize]) -> Vec<Vec<Option<Placed>>> {
        let mut out = Vec::new();
        for (one, other) in pairs(set.len()).filter(|_| set.len() <= PAIRED) {
            let others: Vec<Option<Placed>> = (0..set.len())
                .map(|motor| (motor != one && motor != other).then(|| self.at_once()))
                .collect();
            let left = self.left(set, &others, usize::MAX);
            for both in self.both((set[one], set[other]), &left) {
                let mut placed = others.clone();
                (placed[one], placed[other]) = (Some(both[0]), Some(both[1]));
                out.push(placed);
            }
        }
        out
    }

    /// A motor that burns as certified from the beginning of the burn.
    fn at_once(&self) -> Placed {
        Placed {
            at: 2.min(self.onset_s.len() - 1),
            until: self.pieces.mean_n.len(),
            relative: 1.0,
            weak: false,
            cost: 0.0,
        }
    }

    fn settled(&self, set: &[usize], mut placed: Vec<Option<Placed>>) -> Vec<Placed> {
        let mut order: Vec<usize> = (0..set.len()).collect();
        let size = |at: &usize| self.means[set[*at]][0].iter().sum::<f64>();
        order.sort_by(|a, b| size(b).total_cmp(&size(a)));
        for _ in 0..TURNS {
            let before = placed.clone();
            for at in &order {
                let left = self.left(set, &placed, *at);
                placed[*at] = Some(self.best(set[*at], &left));
            }
            if placed == before {
                break;
            }
        }
        placed.into_iter().flatten().collect()
    }

    /// What all others leave of the record.
    fn left(&self, set: &[usize], placed: &[Option<Placed>], without: usize) -> Vec<f64> {
        let mut left = self.pieces.mean_n.clone();
        for (motor, one) in placed.iter().enumerate() {
            let Some(one) = one.filter(|_| motor != without) else {
                continue;
            };
            let mean = &self.means[set[motor]][one.at];
            for (left, mean) in left.iter_mut().zip(mean).take(one.until) {
                *left -= one.relative * mean;
            }
        }
        left
    }

    /// Where else one motor of a fitted set may lie: the best places on the grid in what the others leave,
    /// when it burns to its end, and when it may go out.
    pub(super) fn elsewhere(&self, pattern: usize, left: &[f64]) -> Vec<Burning> {
        [false, true]
            .into_iter()
            .filter_map(|may_go_out| self.best_of(pattern, left, may_go_out))
            .map(|placed| self.burning(placed))
            .collect()
    }

    /// Where else two motors of a fitted set may lie at the same time, in what the others leave: the
    /// best few places.
    pub(super) fn both_elsewhere(
        &self,
        patterns: (usize, usize),
        left: &[f64],
    ) -> Vec<[Burning; 2]> {
        let both = self.both(patterns, left).into_iter();
        both.map(|both| both.map(|one| self.burning(one))).collect()
    }

    /// The best few places of two motors at the same time, both as strong as certified, on a coarser grid.
    fn both(&self, patterns: (usize, usize), left: &[f64]) -> Vec<[Placed; 2]> {
        let (first, second) = (self.coarse(patterns.0), self.coarse(patterns.1));
        let weight = self.pieces.sd(SHAPE_ERROR).powi(-2);
        let mut found: Vec<(f64, [Placed; 2])> = Vec::new();
        let mut rest = left.to_vec();
        for place in &first {
            rest.copy_from_slice(left);
            for (rest, mean) in rest.iter_mut().zip(place.mean).take(place.until) {
                *rest -= mean;
            }
            let square: f64 = rest.iter().map(|rest| rest * rest).sum();
            let mut best: Option<(f64, &Coarse<'_>)> = None;
            // Places of one onset follow each other by their end, so that each goes on with the sum.
            let (mut at, mut piece, mut gained) = (usize::MAX, 0, 0.0);
            for other in &second {
                if other.at != at {
                    (at, piece, gained) = (other.at, 0, 0.0);
                }
                for (mean, rest) in other.mean[piece..other.until].iter().zip(&rest[piece..]) {
                    gained += mean * (mean - 2.0 * rest);
                }
                piece = other.until;
                let cost = weight * gained + other.way;
                if best.is_none_or(|(least, _)| cost < least) {
                    best = Some((cost, other));
                }
            }
            if let Some((cost, other)) = best {
                let cost = weight * square + place.way + cost;
                found.push((cost, [place.placed(cost), other.placed(cost)]));
            }
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        let near = |a: &Placed, b: &Placed| {
            a.at.abs_diff(b.at) <= COARSE && a.until.abs_diff(b.until) <= COARSE_ENDS
        };
        let mut kept: Vec<[Placed; 2]> = Vec::new();
        for (_, both) in found {
            let known = |one: &[Placed; 2]| one.iter().zip(&both).all(|(a, b)| near(a, b));
            if !kept.iter().any(known) {
                kept.push(both);
            }
            if kept.len() == PAIRS_KEPT {
                break;
            }
        }
        kept
    }

    /// The places of one motor on the coarser grid, by onset and then by end.
    fn coarse(&self, pattern: usize) -> Vec<Coarse<'_>> {
        let hold = self.pieces.prior.impulse(false);
        let all = self.pieces.mean_n.len();
        let mut out = Vec::new();
        for at in (0..self.onset_s.len()).step_by(COARSE) {
            let mean = &self.means[pattern][at];
            let burns = |mean: &f64| *mean > 0.0;
            let begins = mean.iter().position(burns).unwrap_or(0);
            let ends = mean.iter().rposition(burns).unwrap_or(0);
            let early = (begins + 1..ends).step_by(COARSE_ENDS);
            out.extend(early.chain([all]).map(|until| Coarse {
                at,
                until,
                mean,
                way: self.way_cost(at, until, false, &hold),
            }));
        }
        out
    }

    /// The best onset, end and impulse of one motor.
    fn best(&self, pattern: usize, left: &[f64]) -> Placed {
        self.best_of(pattern, left, true).unwrap_or(Placed {
            at: 0,
            until: left.len(),
            relative: 1.0,
            weak: false,
            cost: 0.0,
        })
    }

    fn best_of(&self, pattern: usize, left: &[f64], may_go_out: bool) -> Option<Placed> {
        let weight = self.pieces.sd(SHAPE_ERROR).powi(-2);
        let holds = [false, true].map(|weak| (weak, self.pieces.prior.impulse(weak)));
        let mut best: Option<Placed> = None;
        for (at, mean) in self.means[pattern].iter().enumerate() {
            let last = mean.iter().rposition(|mean| *mean > 0.0);
            let last = last.map_or(0, |piece| piece + 1);
            // Twice the negative logarithm of each way's probability: burning to its end, or going out.
            let ways = holds.map(|(weak, hold)| {
                let to = |until| self.way_cost(at, until, weak, &hold);
                (to(left.len()), to(1))
            });
            let (mut with, mut square) = (0.0, 0.0);
            for (piece, (left_n, mean_n)) in left.iter().zip(mean).enumerate().take(last) {
                with += weight * left_n * mean_n;
                square += weight * mean_n * mean_n;
                let early = piece + 1 < last;
                if early && !may_go_out {
                    continue;
                }
                for ((weak, hold), (whole, out)) in holds.into_iter().zip(ways) {
                    let held = hold.sd.powi(-2);
                    let relative = (with + held * hold.mean) / (square + held);
                    let relative = relative.clamp(hold.low, hold.high);
                    let cost = relative * (relative * square - 2.0 * with)
                        + held * (relative - hold.mean).powi(2)
                        + if early { out } else { whole };
                    if best.is_none_or(|best| cost < best.cost) {
                        best = Some(Placed {
                            at,
                            until: if early { piece + 1 } else { left.len() },
                            relative,
                            weak,
                            cost,
                        });
                    }
                }
            }
        }
        best
    }

    /// What a way to burn costs, for a motor that burns until a piece or, until the last one, to its end.
    fn way_cost(&self, at: usize, until: usize, weak: bool, impulse: &Hold) -> f64 {
        let prior = &self.pieces.prior;
        let one = self.burning(Placed {
            at,
            until,
            relative: 1.0,
            weak,
            cost: 0.0,
        });
        let onset = prior.onset(one.part.onset_s);
        let z = (one.part.onset_s - onset.mean) / onset.sd;
        // The ends lie a piece apart and are spread over a burn of about as many pieces as the record has.
        let ends = one
            .part
            .out_s
            .map_or(0.0, |_| (self.pieces.mean_n.len() as f64).ln());
        z * z + 2.0 * (onset.sd.ln() + impulse.sd.ln() + ends - prior.log_way(&one))
    }

    fn burning(&self, one: Placed) -> Burning {
        let onset_s = self.onset_s[one.at];
        let early = one.until < self.pieces.mean_n.len();
        Burning {
            part: Part {
                onset_s,
                height: one.relative.max(0.05),
                stretch: 1.0,
                out_s: early.then(|| (self.pieces.edge_s[one.until] - onset_s).max(0.02)),
            },
            weak: one.weak,
        }
    }
}
