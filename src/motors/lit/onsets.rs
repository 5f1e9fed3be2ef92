//! Where each motor of a set begins, and where it goes out early: a search over a grid.
//!
//! The cost of an onset has a valley wherever the thrust rises, and a descent ends in the nearest
//! one. So each motor in turn is moved to the best of all onsets and ends while the others stay,
//! until nothing moves; for each onset and end the best impulse is closed. Two starts: all motors
//! begin with the burn, and the motors added one by one, largest first. Where two motors were taken for
//! one another, no move of one alone helps: then two are moved at a time, over a coarser grid.
//!
//! Onsets lie on the pieces' own steps, so that a pattern moved by whole pieces is the same row of means: one row for
//! each place within a piece, and sums of its squares, serve all onsets.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

use super::part::{Burning, Part, Pattern};
use super::pieces::ThrustPieces;

/// Onsets tried in each piece.
const PER_PIECE: usize = 4;

/// Shape error of a piece during the search, relative to the peak: the valleys stay wide.
const SHAPE_ERROR: f64 = 0.03;

/// Starts kept of those tried when nothing explains the record.
const MORE_STARTS: usize = 5;

/// Where two motors are moved at a time, every so-manieth onset and end is tried, and so many places are
/// kept.
const COARSE: usize = 6;
const COARSE_ENDS: usize = 3;
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
    /// Steps of the grid from the beginning of the first piece to the first onset.
    first: isize,
    /// For each pattern: the rows of an onset so many steps before the end of a piece.
    rows: Vec<[Vec<f64>; PER_PIECE]>,
    /// For each onset what its way to burn costs: as certified and weakly, to the end and going out early.
    ways: Vec<[[f64; 2]; 2]>,
    /// The best place of a pattern in what the others leave, where it was asked for before: searches from many starts
    /// meet, and each ends by asking once more.
    best: Mutex<HashMap<(usize, Vec<u64>), Placed>>,
}

/// The means of a pattern from the piece on in which it begins.
#[derive(Clone, Copy)]
struct Row<'a> {
    from: usize,
    mean: &'a [f64],
}

impl Row<'_> {
    /// Each piece it burns in before some piece, with its mean.
    fn until(&self, until: usize) -> impl Iterator<Item = (usize, f64)> {
        (self.from..until).zip(self.mean.iter().copied())
    }
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
    row: Row<'a>,
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
        let begin_s = pieces.edge_s[0];
        let piece_s = pieces.edge_s[1] - begin_s;
        let step = piece_s / PER_PIECE as f64;
        let (from, to) = pieces.prior.window_s;
        let first = ((from - begin_s) / step).round().max(2.0) as isize - 2;
        let onset_s: Vec<f64> = (0..((to - from) / step).ceil() as isize + 2)
            .map(|at| begin_s + step * (first + at) as f64)
            .collect();
        let rows = patterns.iter().map(|pattern| {
            std::array::from_fn(|place| {
                let ends = (1..).map(|piece| (PER_PIECE * piece - place) as f64 * step);
                let mut before = 0.0;
                let mut gained = ends.map(|after_s| {
                    let after = pattern.impulse_to_ns(after_s);
                    let gained = after - before;
                    before = after;
                    gained / piece_s
                });
                let count = (pattern.duration_s() / piece_s).ceil() as usize + 1;
                Vec::from_iter(gained.by_ref().take(count))
            })
        });
        Self {
            pieces,
            first,
            rows: rows.collect(),
            ways: onset_s.iter().map(|at_s| ways(pieces, *at_s)).collect(),
            onset_s,
            best: Mutex::default(),
        }
    }

    /// The means of a pattern that begins at an onset.
    fn row(&self, pattern: usize, at: usize) -> Row<'_> {
        let steps = self.first.unsigned_abs() + at;
        Row {
            from: steps / PER_PIECE,
            mean: &self.rows[pattern][steps % PER_PIECE],
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
        // Like motors are exchangeable: of two starts that differ by who is who, one is enough.
        let is_first = |motor: usize, but: usize| {
            motor >= set.len() || (0..motor).all(|other| other == but || set[other] != set[motor])
        };
        let each = (0..ways).flat_map(|late| (0..ways).map(move |out| (late, out)));
        let unlike = each.filter(|(late, out)| {
            let (late, out) = (late / TIMES, out / TIMES);
            is_first(late, set.len()) && (out == late || is_first(out, late))
        });
        unlike
            .map(|(late, out)| {
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
        let mut tried = Vec::new();
        for (one, other) in pairs(set.len()).filter(|_| set.len() <= PAIRED) {
            let designs = (set[one], set[other]);
            if tried.contains(&designs) {
                continue;
            }
            tried.push(designs);
            let others: Vec<Option<Placed>> = (0..set.len())
                .map(|motor| (motor != one && motor != other).then(|| self.at_once()))
                .collect();
            let left = self.left(set, &others, usize::MAX);
            for both in self.both(designs, &left) {
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
        let size = |at: &usize| self.rows[set[*at]][0].iter().sum::<f64>();
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
            let row = self.row(set[motor], one.at);
            for (piece, mean) in row.until(one.until.min(left.len())) {
                left[piece] -= one.relative * mean;
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
            for (piece, mean) in place.row.until(place.until) {
                rest[piece] -= mean;
            }
            let square: f64 = rest.iter().map(|rest| rest * rest).sum();
            let mut best: Option<(f64, &Coarse<'_>)> = None;
            // Places of one onset follow each other by their end, so that each goes on with the sum.
            let (mut at, mut piece, mut gained) = (usize::MAX, 0, 0.0);
            for other in &second {
                if other.at != at {
                    (at, piece, gained) = (other.at, other.row.from, 0.0);
                }
                let begun = piece - other.row.from;
                let until = other.until.min(other.row.from + other.row.mean.len());
                let means = other.row.mean[begun..].iter();
                for (mean, rest) in means.zip(&rest[piece..until.max(piece)]) {
                    gained += mean * (mean - 2.0 * rest);
                }
                piece = until.max(piece);
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
        let all = self.pieces.mean_n.len();
        let mut out = Vec::new();
        for at in (0..self.onset_s.len()).step_by(COARSE) {
            let row = self.row(pattern, at);
            if row.from >= all {
                break;
            }
            let ends = (row.from + row.mean.len()).min(all);
            let early = (row.from + 1..ends).step_by(COARSE_ENDS);
            out.extend(early.chain([all]).map(|until| Coarse {
                at,
                until,
                row,
                way: self.ways[at][0][usize::from(until < all)],
            }));
        }
        out
    }

    /// The best onset, end and impulse of one motor.
    fn best(&self, pattern: usize, left: &[f64]) -> Placed {
        let asked = (pattern, left.iter().map(|left| left.to_bits()).collect());
        let known = || self.best.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = known().get(&asked) {
            return *known;
        }
        let found = self.best_of(pattern, left, true).unwrap_or(Placed {
            at: 0,
            until: left.len(),
            relative: 1.0,
            weak: false,
            cost: 0.0,
        });
        known().insert(asked, found);
        found
    }

    fn best_of(&self, pattern: usize, left: &[f64], may_go_out: bool) -> Option<Placed> {
        let weight = self.pieces.sd(SHAPE_ERROR).powi(-2);
        let holds = [false, true].map(|weak| (weak, self.pieces.prior.impulse(weak)));
        let squares = self.squares(pattern, weight, holds.map(|(_, hold)| hold.sd.powi(-2)));
        let holds = holds.map(|(weak, hold)| (weak, hold.sd.powi(-2), hold));
        let (mut best, mut least) = (None, f64::INFINITY);
        for at in 0..self.onset_s.len() {
            let row = self.row(pattern, at);
            let place = (self.first.unsigned_abs() + at) % PER_PIECE;
            let last = (row.from + row.mean.len()).min(left.len());
            let squares = &squares[place];
            let mut with = 0.0;
            for (piece, mean_n) in row.until(last) {
                with += weight * left[piece] * mean_n;
                let early = piece + 1 < last;
                if early && !may_go_out {
                    continue;
                }
                let (square, one_over) = squares[piece - row.from];
                for (way, (weak, held, hold)) in holds.iter().enumerate() {
                    let relative = (with + held * hold.mean) * one_over[way];
                    let relative = relative.clamp(hold.low, hold.high);
                    let [whole, out] = self.ways[at][way];
                    let cost = relative * (relative * square - 2.0 * with)
                        + held * (relative - hold.mean).powi(2)
                        + if early { out } else { whole };
                    if cost < least {
                        least = cost;
                        best = Some(Placed {
                            at,
                            until: if early { piece + 1 } else { left.len() },
                            relative,
                            weak: *weak,
                            cost,
                        });
                    }
                }
            }
        }
        best
    }

    /// Sums of a pattern's squares up to each piece, and one over each sum with what holds the impulse in each way added,
    /// for every place within a piece.
    fn squares(
        &self,
        pattern: usize,
        weight: f64,
        held: [f64; 2],
    ) -> [Vec<(f64, [f64; 2])>; PER_PIECE] {
        std::array::from_fn(|place| {
            let mut sum = 0.0;
            let each = self.rows[pattern][place].iter().map(|mean| {
                sum += weight * mean * mean;
                (sum, held.map(|held| 1.0 / (sum + held)))
            });
            each.collect()
        })
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

/// Twice the negative logarithm of the probability of each way to burn from an onset, but for a constant.
fn ways(pieces: &ThrustPieces, onset_s: f64) -> [[f64; 2]; 2] {
    let prior = &pieces.prior;
    let onset = prior.onset(onset_s);
    let z = (onset_s - onset.mean) / onset.sd;
    // The ends lie a piece apart and are spread over a burn of about as many pieces as the record has.
    let ends = (pieces.mean_n.len() as f64).ln();
    [false, true].map(|weak| {
        let sds = onset.sd.ln() + prior.impulse(weak).sd.ln();
        [None, Some(1.0)].map(|out_s| {
            let part = Part {
                onset_s,
                height: 1.0,
                stretch: 1.0,
                out_s,
            };
            let ends = out_s.map_or(0.0, |_| ends);
            z * z + 2.0 * (sds + ends - prior.log_way(&Burning { part, weak }))
        })
    })
}
