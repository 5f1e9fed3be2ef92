//! Evidence from the course of the thrust that motors share: size, shape and steps.
//!
//! Every set of motors that may have lit is fitted to the record ([`super::pieces`]) by its certified
//! curves: moved, scaled, stretched, cut short. Motors of one design are exchangeable, so sets count
//! how many of each design lit.
//!
//! Where even the best set leaves more than certified curves do, the model is wrong somewhere, and
//! what it says of the sets counts less: its log-likelihoods are multiplied by the ratio of the
//! variances, that of what may be left and that of what is (a power likelihood; Holmes & Walker,
//! Assigning a value to a power likelihood in a general Bayesian model, Biometrika 104, 2017).

use super::hypothesis::{EvidenceTerm, Subset, floored};
use super::onsets::{Grid, PAIRED, pairs};
use super::part::{Burning, Pattern};
use super::pieces::{SetFit, ThrustPieces};
use crate::numeric::parallel::each;

/// Other ways to burn are tried for sets no further behind the best than this.
const TRIED_WITHIN: f64 = 60.0;

/// A misfit relative to the peak, root mean square, up to which no more is searched: what certified curves
/// leave where they are right.
const WELL_EXPLAINED: f64 = 0.01;

/// Beyond it, sets no further behind the best than this are searched again.
const LOOKED_AT_AGAIN: f64 = 200.0;

/// ... and improved from so many of the starts.
const IMPROVED: usize = 2;

/// A motor that goes out before it gave this share of its certified impulse hardly burnt. Common practice, no source.
const PUFF: f64 = 0.3;

/// A misfit relative to the peak up to which the verdict counts in full. Common practice, no source.
const TRUSTED: f64 = 0.03;

/// Turns of all motors in which other ways are tried, unless one gains less than [`GAIN`].
const TURNS: usize = 4;
const GAIN: f64 = 0.5;

/// Of the other ways of one motor, so many are tried with all motors moving, of those no further behind than
/// [`NEARLY_AS_GOOD`] while only that motor moves.
const TRIED: usize = 2;
const NEARLY_AS_GOOD: f64 = 4.0;

/// Sets that other evidence puts further behind the best than this are not fitted: their course counts as well as the
/// best one's, which leaves them where they are.
const RULED_OUT: f64 = 15.0;

/// The motors that share cells, and their thrust.
pub(crate) struct Shared<'a> {
    /// The thrust in pieces.
    pub pieces: &'a ThrustPieces,
    /// Number of the motor in the firing, and its certified curve.
    pub motors: Vec<(usize, Pattern)>,
    /// Log-likelihood of every subset by all other evidence; empty where there is none.
    pub other: Vec<f64>,
    /// What explained the record before its burn was measured again.
    pub earlier: Option<&'a SetFits>,
}

/// The best explanation by each set of motors.
#[derive(Debug, Clone)]
pub(crate) struct SetFits {
    /// Different designs.
    patterns: Vec<Pattern>,
    /// Design of each motor that shares the cells.
    design: Vec<usize>,
    /// For each number of motors lit of each design.
    sets: Vec<(Vec<usize>, SetFit)>,
}

/// Explains the record by every set that other evidence leaves. `None` when no set could be fitted.
#[must_use]
pub(crate) fn explain(shared: &Shared<'_>) -> Option<SetFits> {
    let (patterns, design) = designs(shared);
    let mut out = SetFits {
        patterns,
        design,
        sets: Vec::new(),
    };
    let mut all = counts(&most(out.patterns.len(), &out.design));
    all.retain(|counts| out.is_left(shared, counts));
    match shared.earlier.filter(|earlier| earlier.holds(&all)) {
        Some(earlier) => out.sets = again(shared.pieces, earlier, &all),
        None => out.sets = searched(shared.pieces, &out.patterns, &all),
    }
    learn_from_larger(shared.pieces, &out.patterns, &mut out.sets);
    (!out.sets.is_empty()).then_some(out)
}

/// Fits that start where those of an earlier measurement of the same burn ended.
fn again(
    pieces: &ThrustPieces,
    earlier: &SetFits,
    all: &[Vec<usize>],
) -> Vec<(Vec<usize>, SetFit)> {
    let one = |(counts, fitted): &(Vec<usize>, SetFit)| {
        let curves = curves_of(&earlier.patterns, counts);
        Some((counts.clone(), pieces.fit(&curves, &fitted.burning)?))
    };
    let kept = earlier.sets.iter().filter(|set| all.contains(&set.0));
    kept.filter_map(one).collect()
}

fn searched(
    pieces: &ThrustPieces,
    patterns: &[Pattern],
    all: &[Vec<usize>],
) -> Vec<(Vec<usize>, SetFit)> {
    let grid = Grid::new(pieces, patterns);
    let first = |counts: &Vec<usize>| {
        let fitted = first_fit(pieces, &grid, patterns, counts)?;
        Some((counts.clone(), fitted))
    };
    let sets = each(all, first, |_| ());
    let sets: Vec<(Vec<usize>, SetFit)> = sets.into_iter().flatten().collect();
    let to_beat = best_evidence(&sets) - TRIED_WITHIN;
    let improved = |(counts, fitted): &(Vec<usize>, SetFit)| {
        let mut fitted = fitted.clone();
        if fitted.log_evidence >= to_beat {
            improve(pieces, &grid, patterns, counts, &mut fitted);
        }
        (counts.clone(), fitted)
    };
    let mut sets = each(&sets, improved, |_| ());
    learn_from_larger(pieces, patterns, &mut sets);
    search_again(pieces, &grid, patterns, &mut sets);
    sets
}

/// Where no set explains the record well: looks at those not far behind from other starts.
fn search_again(
    pieces: &ThrustPieces,
    grid: &Grid<'_>,
    patterns: &[Pattern],
    sets: &mut [(Vec<usize>, SetFit)],
) {
    let misfits = sets.iter().map(|(_, fitted)| fitted.misfit);
    if misfits.fold(f64::INFINITY, f64::min) <= WELL_EXPLAINED {
        return;
    }
    let to_beat = best_evidence(sets) - LOOKED_AT_AGAIN;
    let searched = |(counts, known): &(Vec<usize>, SetFit)| {
        let mut fitted = known.clone();
        if fitted.log_evidence < to_beat {
            return fitted;
        }
        let curves = curves_of(patterns, counts);
        let starts = grid.more_starts(&members(counts)).into_iter();
        let mut found: Vec<SetFit> = starts
            .filter_map(|start| pieces.fit(&curves, &start))
            .collect();
        found.sort_by(|a, b| b.log_evidence.total_cmp(&a.log_evidence));
        for mut other in found.into_iter().take(IMPROVED) {
            improve(pieces, grid, patterns, counts, &mut other);
            if other.log_evidence > fitted.log_evidence {
                fitted = other;
            }
        }
        improve_pairs(pieces, grid, patterns, counts, &mut fitted);
        fitted
    };
    let found = each(sets, searched, |_| ());
    for (set, fitted) in sets.iter_mut().zip(found) {
        set.1 = fitted;
    }
}

fn best_evidence(sets: &[(Vec<usize>, SetFit)]) -> f64 {
    let each = sets.iter().map(|(_, fitted)| fitted.log_evidence);
    each.fold(f64::NEG_INFINITY, f64::max)
}

/// The best fit of motors that all lit, in their order; `None` when the search fails.
#[must_use]
pub(crate) fn best(pieces: &ThrustPieces, curves: &[Pattern]) -> Option<Vec<Burning>> {
    let shared = Shared {
        pieces,
        motors: curves.iter().cloned().enumerate().collect(),
        other: Vec::new(),
        earlier: None,
    };
    let (patterns, design) = designs(&shared);
    let counts = most(patterns.len(), &design);
    let grid = Grid::new(pieces, &patterns);
    let mut fitted = first_fit(pieces, &grid, &patterns, &counts)?;
    improve(pieces, &grid, &patterns, &counts, &mut fitted);
    let lit = vec![true; curves.len()];
    let explained = SetFits {
        patterns,
        design,
        sets: vec![(counts, fitted)],
    };
    Some(explained.fit_of(&lit)?.1)
}

/// The different designs, and which of them each motor is.
fn designs(shared: &Shared<'_>) -> (Vec<Pattern>, Vec<usize>) {
    let mut patterns: Vec<Pattern> = Vec::new();
    let mut design = Vec::new();
    for (_, pattern) in &shared.motors {
        let known = patterns.iter().position(|other| other == pattern);
        design.push(known.unwrap_or(patterns.len()));
        if known.is_none() {
            patterns.push(pattern.clone());
        }
    }
    (patterns, design)
}

/// How many motors there are of each design.
fn most(designs: usize, design: &[usize]) -> Vec<usize> {
    (0..designs)
        .map(|kind| design.iter().filter(|of| **of == kind).count())
        .collect()
}

/// All numbers lit of each design.
fn counts(most: &[usize]) -> Vec<Vec<usize>> {
    let mut out = vec![Vec::new()];
    for most in most {
        out = out
            .into_iter()
            .flat_map(|counts| {
                (0..=*most).map(move |count| {
                    let mut longer = counts.clone();
                    longer.push(count);
                    longer
                })
            })
            .collect();
    }
    out
}

/// Designs of the motors of a set, one entry for each.
fn members(counts: &[usize]) -> Vec<usize> {
    let each = counts.iter().enumerate();
    each.flat_map(|(kind, count)| std::iter::repeat_n(kind, *count))
        .collect()
}

fn curves_of<'a>(patterns: &'a [Pattern], counts: &[usize]) -> Vec<&'a Pattern> {
    let each = members(counts).into_iter();
    each.map(|kind| &patterns[kind]).collect()
}

fn first_fit(
    pieces: &ThrustPieces,
    grid: &Grid<'_>,
    patterns: &[Pattern],
    counts: &[usize],
) -> Option<SetFit> {
    let set = members(counts);
    if set.is_empty() {
        return Some(pieces.nothing());
    }
    let curves = curves_of(patterns, counts);
    let fits = grid.starts(&set).into_iter();
    fits.filter_map(|start| pieces.fit(&curves, &start))
        .max_by(|a, b| a.log_evidence.total_cmp(&b.log_evidence))
}

/// Tries for one motor after the other whether it burns as certified, weakly, or goes out early, and
/// whether it lies better elsewhere, until nothing helps.
fn improve(
    pieces: &ThrustPieces,
    grid: &Grid<'_>,
    patterns: &[Pattern],
    counts: &[usize],
    fitted: &mut SetFit,
) {
    let set = members(counts);
    let curves = curves_of(patterns, counts);
    for _ in 0..TURNS {
        let before = fitted.log_evidence;
        for motor in 0..curves.len() {
            let now = fitted.burning[motor];
            let left = pieces.left_without(&curves, &fitted.burning, &[motor]);
            let mut tried = ways(now, curves[motor]);
            tried.extend(grid.elsewhere(set[motor], &left));
            for way in promising(pieces, &left, curves[motor], (now, tried)) {
                let mut start = fitted.burning.clone();
                start[motor] = way;
                keep_better(pieces, &curves, &start, fitted);
            }
        }
        if fitted.log_evidence < before + GAIN {
            break;
        }
    }
}

/// Tries for two motors at a time whether both lie better elsewhere, and improves what that finds.
fn improve_pairs(
    pieces: &ThrustPieces,
    grid: &Grid<'_>,
    patterns: &[Pattern],
    counts: &[usize],
    fitted: &mut SetFit,
) {
    let set = members(counts);
    let curves = curves_of(patterns, counts);
    if fitted.misfit <= WELL_EXPLAINED || curves.len() > PAIRED {
        return;
    }
    let before = fitted.log_evidence;
    for (first, second) in pairs(curves.len()) {
        let left = pieces.left_without(&curves, &fitted.burning, &[first, second]);
        for both in grid.both_elsewhere((set[first], set[second]), &left) {
            let mut start = fitted.burning.clone();
            [start[first], start[second]] = both;
            keep_better(pieces, &curves, &start, fitted);
        }
    }
    if fitted.log_evidence > before + GAIN {
        improve(pieces, grid, patterns, counts, fitted);
    }
}

/// The ways to burn of one motor that explain what the others leave about as well as its present one, or better: the best
/// few of them.
fn promising(
    pieces: &ThrustPieces,
    left: &[f64],
    curve: &Pattern,
    (now, tried): (Burning, Vec<Burning>),
) -> Vec<Burning> {
    let alone = |way: Burning| {
        let fitted = pieces.fit_to(left, &[curve], &[way])?;
        Some((fitted.log_evidence, *fitted.burning.first()?))
    };
    let to_beat = alone(now).map_or(f64::NEG_INFINITY, |(log, _)| log - NEARLY_AS_GOOD);
    let mut found: Vec<(f64, Burning)> = tried.into_iter().filter_map(alone).collect();
    found.retain(|(log, _)| *log > to_beat);
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.into_iter().take(TRIED).map(|(_, way)| way).collect()
}

/// Gives each set the start that a set of one motor more found, that motor left out: a motor that does
/// next to nothing there must not stand for a search that failed here.
fn learn_from_larger(
    pieces: &ThrustPieces,
    patterns: &[Pattern],
    sets: &mut [(Vec<usize>, SetFit)],
) {
    let mut order: Vec<usize> = (0..sets.len()).collect();
    order.sort_by_key(|at| std::cmp::Reverse(sets[*at].0.iter().sum::<usize>()));
    for larger in order {
        let (counts, fitted) = sets[larger].clone();
        for (motor, kind) in members(&counts).into_iter().enumerate() {
            let mut fewer = counts.clone();
            fewer[kind] -= 1;
            let mut start = fitted.burning.clone();
            start.remove(motor);
            if let Some((_, smaller)) = sets.iter_mut().find(|(counts, _)| *counts == fewer) {
                keep_better(pieces, &curves_of(patterns, &fewer), &start, smaller);
            }
        }
    }
}

fn keep_better(pieces: &ThrustPieces, curves: &[&Pattern], start: &[Burning], fitted: &mut SetFit) {
    if let Some(other) = pieces.fit(curves, start)
        && other.log_evidence > fitted.log_evidence
    {
        *fitted = other;
    }
}

/// Other ways for one motor to burn.
fn ways(now: Burning, pattern: &Pattern) -> Vec<Burning> {
    let plain = Burning { weak: false, ..now };
    let whole = |one: Burning| {
        let mut one = one;
        one.part.out_s = None;
        one
    };
    let mut out = Vec::new();
    if now.part.out_s.is_some() {
        out.push(whole(plain));
        out.push(whole(Burning { weak: true, ..now }));
    }
    out.push(Burning {
        weak: !now.weak,
        ..now
    });
    if now.part.out_s.is_none() {
        for share in [0.15, 0.3, 0.5, 0.7, 0.85] {
            let mut early = plain;
            early.part.out_s = Some(share * pattern.duration_s());
            out.push(early);
        }
    }
    out
}

impl SetFits {
    /// The fit of a set of the motors that share the cells, one entry for each of its motors in the
    /// order of the motors.
    #[must_use]
    pub(crate) fn fit_of(&self, lit: &[bool]) -> Option<(f64, Vec<Burning>)> {
        if lit.len() != self.design.len() {
            return None;
        }
        let counts = self.counts_of(lit);
        let (_, fitted) = self.sets.iter().find(|(of, _)| *of == counts)?;
        let kinds = members(&counts);
        let mut used = vec![false; kinds.len()];
        let mut burning = Vec::new();
        for kind in self.lit_designs(lit) {
            let slot = (0..kinds.len()).find(|slot| !used[*slot] && kinds[*slot] == kind)?;
            used[slot] = true;
            burning.push(fitted.burning[slot]);
        }
        Some((fitted.misfit, burning))
    }

    fn best(&self) -> Option<&(Vec<usize>, SetFit)> {
        let better = |a: &&(Vec<usize>, SetFit), b: &&(Vec<usize>, SetFit)| {
            a.1.log_evidence.total_cmp(&b.1.log_evidence)
        };
        self.sets.iter().max_by(better)
    }

    /// What the best set leaves unexplained: root mean square relative to the peak.
    #[must_use]
    pub(crate) fn misfit(&self) -> f64 {
        self.best().map_or(0.0, |(_, fitted)| fitted.misfit)
    }

    /// The least and the most that a motor of the best set gives, as a share of its certified impulse; 1 where none burns. Of
    /// one that goes out early its height counts, as long as it gives more than [`PUFF`].
    #[must_use]
    pub(crate) fn shares(&self) -> (f64, f64) {
        let Some((counts, fitted)) = self.best() else {
            return (1.0, 1.0);
        };
        let designs = members(counts).into_iter();
        let shares = designs.zip(&fitted.burning).map(|(design, one)| {
            let pattern = &self.patterns[design];
            let share = one.part.impulse_ns(pattern) / pattern.total_ns();
            if one.part.out_s.is_some() && share > PUFF {
                one.part.height * one.part.stretch
            } else {
                share
            }
        });
        shares.fold((1.0, 1.0), |(least, most), share| {
            (share.min(least), share.max(most))
        })
    }

    /// Whether other evidence leaves some subset of which so many of each design lit.
    fn is_left(&self, shared: &Shared<'_>, counts: &[usize]) -> bool {
        let best = shared
            .other
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        let mut each = shared.other.iter().enumerate();
        shared.other.is_empty()
            || each.any(|(subset, log)| {
                let lit = lit_of(shared, Subset(subset as u32));
                *log >= best - RULED_OUT && self.counts_of(&lit) == counts
            })
    }

    /// Whether all these sets were fitted.
    fn holds(&self, all: &[Vec<usize>]) -> bool {
        all.iter()
            .all(|counts| self.sets.iter().any(|(of, _)| of == counts))
    }

    /// Log evidence of a set as the search left it.
    #[cfg(test)]
    pub(super) fn searched(&self, lit: &[bool]) -> Option<f64> {
        let counts = self.counts_of(lit);
        let (_, fitted) = self.sets.iter().find(|(of, _)| *of == counts)?;
        Some(fitted.log_evidence)
    }

    fn lit_designs<'a>(&'a self, lit: &'a [bool]) -> impl Iterator<Item = usize> + 'a {
        let each = self.design.iter().zip(lit).filter(|(_, lit)| **lit);
        each.map(|(kind, _)| *kind)
    }

    /// Names of the motors of a set; of like motors that did not all light, how many.
    fn named(&self, shared: &Shared<'_>, names: &[&str], lit: &[bool]) -> Vec<String> {
        let kinds = self.counts_of(lit).into_iter().enumerate();
        let each = kinds.filter(|(_, count)| *count > 0).map(|(kind, count)| {
            let alike = self.design.iter().zip(&shared.motors);
            let alike: Vec<&str> = alike
                .filter(|(of, _)| **of == kind)
                .map(|(_, (motor, _))| names[*motor])
                .collect();
            if count == alike.len() {
                alike.join(" + ")
            } else {
                format!("{count} of {}", alike.join(", "))
            }
        });
        each.collect()
    }

    fn counts_of(&self, lit: &[bool]) -> Vec<usize> {
        let mut counts = vec![0; self.patterns.len()];
        for kind in self.lit_designs(lit) {
            counts[kind] += 1;
        }
        counts
    }

    /// Share of its weight with which this evidence counts, by what its best set leaves unexplained.
    fn weight(&self, pieces: &ThrustPieces) -> f64 {
        let ratio = pieces.sd(TRUSTED) / (self.misfit() * pieces.peak_n);
        ratio.powi(2).min(1.0)
    }

    /// Log-likelihood of a set; like motors may have their parts in any order.
    fn log_likelihood(&self, lit: &[bool]) -> f64 {
        let counts = self.counts_of(lit);
        let Some((_, fitted)) = self.sets.iter().find(|(of, _)| *of == counts) else {
            return best_evidence(&self.sets);
        };
        let orders = counts.iter().flat_map(|count| 1..=*count);
        fitted.log_evidence + orders.map(|n| (n as f64).ln()).sum::<f64>()
    }
}

/// Which of the motors that share the cells belong to a subset.
fn lit_of(shared: &Shared<'_>, subset: Subset) -> Vec<bool> {
    let each = shared.motors.iter();
    each.map(|(motor, _)| subset.has(*motor)).collect()
}

/// The piece of evidence for a firing of so many motors.
#[must_use]
pub(crate) fn evidence(
    from: &str,
    motors: usize,
    names: &[&str],
    shared: &Shared<'_>,
    explained: &SetFits,
) -> EvidenceTerm {
    let weight = explained.weight(shared.pieces);
    let values: Vec<f64> = Subset::all(motors)
        .map(|subset| weight * explained.log_likelihood(&lit_of(shared, subset)))
        .collect();
    let fitted =
        Subset::all(motors).filter(|subset| explained.fit_of(&lit_of(shared, *subset)).is_some());
    let best = fitted.max_by(|a, b| values[a.0 as usize].total_cmp(&values[b.0 as usize]));
    let says = best.map_or_else(String::new, |best| {
        let lit = lit_of(shared, best);
        described(shared, explained, names, &lit, weight)
    });
    EvidenceTerm {
        from: from.to_owned(),
        says,
        log_likelihood: floored(values),
    }
}

fn described(
    shared: &Shared<'_>,
    explained: &SetFits,
    names: &[&str],
    lit: &[bool],
    weight: f64,
) -> String {
    let misfit = explained.fit_of(lit).map_or(f64::NAN, |(misfit, _)| misfit);
    let pieces = shared.pieces;
    let ends = pieces.edge_s.windows(2).zip(&pieces.mean_n);
    let seen: f64 = ends.map(|(ends, mean)| mean * (ends[1] - ends[0])).sum();
    let certified: f64 = shared.motors.iter().map(|(_, one)| one.total_ns()).sum();
    let best = explained.named(shared, names, lit);
    let all = if shared.motors.len() == 1 {
        "its motor is certified for"
    } else {
        "all motors together are certified for"
    };
    let best = if best.is_empty() {
        "nothing burning".to_owned()
    } else {
        best.join(" + ")
    };
    let counts = if weight < 1.0 {
        format!(
            "; more than certified curves usually leave, so it counts with a weight of {weight:.2}"
        )
    } else {
        String::new()
    };
    format!(
        "{seen:.2} N s, {all} {certified:.2} N s; {best} explains the course of the thrust best and leaves \
         {:.1} % of the peak (RMS){counts}",
        100.0 * misfit
    )
}
