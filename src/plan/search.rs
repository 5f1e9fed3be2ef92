//! The search for the commands that tell most: families as large as the limits allow, then steps moved at random.
//!
//! Criterion: the mean, over plants drawn from what is expected, of the log determinant of the covariance of gain,
//! lag, delay and backlash (D-optimality, Wald 1943; for inputs Goodwin & Payne, Dynamic System Identification,
//! 1977, ch. 6; averaged over a prior, Pronzato & Walter, Mathematical Biosciences 75, 1985). Alone it may buy one
//! number with another, or one plant with another; so a mean of high order of the ratios of each width, on each plant,
//! to that of the best family is added, of the backlash's to that of the best candidate: nearly the worst of them (the
//! regret of minimax designs, Savage 1951). The best of the stepped families is improved by random moves that are kept
//! when they are better (a local search, Matyas 1965): the criterion has many optima. Most moves are none for the better:
//! plants are looked at from the worst on, eight side by side, until that shows.
//!
//! Limits: command and step of the command, stays of at least two rows, travel (saturating demands are simulated),
//! and the tilt of 99 in 100 sampled flights; quiet before ignition has settled and before thrust
//! fades.

use super::expected::{Expected, ExpectedAxis};
use super::families::{self, Family, Table};
use super::information::Setup;
use super::motion::{Abreast, LANES, Motion, Sampled, motion};
use super::moves::{Bounds, round};
use super::rehearsal::noise::Stream;
use crate::config::Firing;
use crate::series::Series;

/// Plants over which the criterion is taken, with the nozzle measured, and without, where each costs far more.
const PLANTS: usize = 24;
const PLANTS_WITHOUT_NOZZLE: usize = 12;
/// Flights on which the tilt limit is held, and the share of them that may pass it.
const FLIGHTS: usize = 300;
const MAY_PASS: f64 = 0.01;
/// Share of the tilt limit that a pattern may use: the quick motion is not the whole rig.
pub(super) const OF_TILT_LIMIT: f64 = 0.9;
/// Times that the size of a family is halved between what is too much and what is not.
const HALVINGS: usize = 7;
/// By how much plants not looked at yet may better the log determinant's mean: more than a move that is kept does.
const MAY_GAIN: f64 = 0.1;
/// What a ratio of e to the best family counts, in units of the log determinant.
const REGRET: f64 = 60.0;
/// How many times as much a move costs where the steering is seen from the tilt alone: so many times fewer are made.
const COSTLIER_WITHOUT_NOZZLE: usize = 8;
/// Order of the mean of these ratios: of a high order it is nearly the worst of them, and yet each move that betters
/// any of the bad ones counts. At first it is lower, so that the start's worst ratio does not bar every way on.
const ORDER: f64 = 20.0;
const FIRST_ORDER: f64 = 4.0;
/// Share of the moves over which it rises, and the moves between two of its values.
const RISES_FOR: f64 = 0.6;
const MOVES_OF_ORDER: usize = 100;

/// One axis to be designed for.
pub(super) struct Problem<'a> {
    pub setup: Setup<'a>,
    plants: Vec<Sampled>,
    flights: Vec<Sampled>,
    /// The same flights side by side.
    abreast: Vec<Abreast>,
    bounds: Bounds,
}

/// What a pattern tells of one plant.
#[derive(Debug, Clone, Copy)]
pub(super) struct Told {
    log_determinant: f64,
    /// Standard uncertainty of each number of the steering; 0 where it cannot be told.
    pub u: [f64; 4],
}

/// A pattern in deg and what it tells.
#[derive(Debug, Clone)]
pub(super) struct Weighed {
    pub family: Family,
    pub table: Table,
    pub told: Vec<Told>,
}

impl Weighed {
    /// The criterion averaged over the plants.
    pub(super) fn log_determinant(&self) -> f64 {
        let sum: f64 = self.told.iter().map(|one| one.log_determinant).sum();
        sum / self.told.len() as f64
    }
}

/// What a pattern is held against: on each plant the smallest widths that others reach, and how much the worst ratio
/// counts before the others.
#[derive(Debug, Clone)]
struct Standard {
    least: Vec<[f64; 4]>,
    order: f64,
}

/// What one plant, or all of them, add to the score.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    plants: usize,
    log_determinant: f64,
    ratios: usize,
    powers: f64,
}

impl Standard {
    fn of(&self, plant: usize, told: &Told) -> Sums {
        let both = told.u.iter().zip(&self.least[plant]);
        let known = both.filter(|(u, least)| **u > 0.0 && least.is_finite());
        let (ratios, powers) = known.fold((0, 0.0), |(count, sum), (u, least)| {
            (count + 1, sum + (u / least).powf(self.order))
        });
        Sums {
            plants: 1,
            log_determinant: told.log_determinant,
            ratios,
            powers,
        }
    }

    fn each(&self, of: &Weighed) -> Vec<Sums> {
        let each = of.told.iter().enumerate();
        each.map(|(plant, told)| self.of(plant, told)).collect()
    }

    /// The mean log determinant, and the logarithm of the mean, of the order, of the ratios.
    fn score(&self, of: Sums) -> f64 {
        let mean = of.powers / of.ratios.max(1) as f64;
        of.log_determinant / of.plants as f64 + REGRET * mean.ln() / self.order
    }
}

fn sum(each: &[Sums]) -> Sums {
    each.iter().fold(Sums::default(), |sum, one| Sums {
        plants: sum.plants + one.plants,
        log_determinant: sum.log_determinant + one.log_determinant,
        ratios: sum.ratios + one.ratios,
        powers: sum.powers + one.powers,
    })
}

/// Plants in some order, and the same side by side.
struct Line {
    order: Vec<usize>,
    abreast: Vec<Abreast>,
}

/// The pattern that is to be bettered.
struct Best {
    weighed: Weighed,
    each: Vec<Sums>,
    sums: Sums,
    /// The plants on which it is worst come first: there most moves show that they are none for the better.
    line: Line,
}

impl<'a> Problem<'a> {
    pub(super) fn new(
        firing: &'a Firing,
        expected: &'a Expected,
        name: &str,
        thrust_n: &Series,
    ) -> Option<Self> {
        let axis = expected.axes.get(name)?;
        let setup = Setup::new(firing, (name, axis), &expected.rates_hz, thrust_n)?;
        let many = |count| Sampled::many(firing, expected, (name, axis), count);
        let plants = if setup.axis.nozzle.is_some() {
            PLANTS
        } else {
            PLANTS_WITHOUT_NOZZLE
        };
        let flights = many(FLIGHTS);
        Some(Self {
            bounds: Bounds {
                row_s: 1.0 / setup.rates_hz[0],
                span_s: families::span_s(expected.ignition_s.value, expected.burns_s),
                limit_deg: axis.command_limit_deg,
            },
            setup,
            plants: many(plants),
            abreast: side_by_side(flights.iter()),
            flights,
        })
    }

    /// One row of the flight computer, s.
    pub(super) const fn row_s(&self) -> f64 {
        self.bounds.row_s
    }

    fn axis(&self) -> &'a ExpectedAxis {
        self.setup.expected
    }

    /// The best pattern of each family, and the best of them improved; the best first.
    pub(super) fn solve(&self, name: &str, moves: usize) -> Option<Vec<Weighed>> {
        if self.loads(&[]).first()?.0 > 1.0 {
            return None;
        }
        let mut all: Vec<Weighed> = Vec::new();
        let line = self.line((0..self.plants.len()).collect());
        // What tells a backlash best, long stays at several levels, tells the rest badly and is no family's best.
        let mut backlash_u = vec![f64::INFINITY; self.plants.len()];
        for (family, shape) in self.shapes() {
            let table = self.as_large_as_allowed(&shape);
            let found = table.and_then(|table| self.weighed((family, table), &line, None));
            let Some(found) = found else {
                continue;
            };
            for (least, told) in backlash_u.iter_mut().zip(&found.told) {
                if told.u[3] > 0.0 {
                    *least = least.min(told.u[3]);
                }
            }
            match all.iter_mut().find(|one| one.family == family) {
                Some(one) if one.log_determinant() <= found.log_determinant() => {}
                Some(one) => *one = found,
                None => all.push(found),
            }
        }
        let least = backlash_u.iter().enumerate().map(|(plant, backlash_u)| {
            let known = |at: usize| all.iter().map(move |one| one.told[plant].u[at]);
            let of = |at| known(at).filter(|u| *u > 0.0).fold(f64::INFINITY, f64::min);
            [of(0), of(1), of(2), *backlash_u]
        });
        let standard = Standard {
            least: least.collect(),
            order: ORDER,
        };
        let score = |one: &Weighed| standard.score(sum(&standard.each(one)));
        let by_score = |a: &Weighed, b: &Weighed| score(a).total_cmp(&score(b));
        let stepped = |one: &&Weighed| !matches!(one.family, Family::Sine | Family::Multisine);
        let costlier = if self.setup.axis.nozzle.is_some() {
            1
        } else {
            COSTLIER_WITHOUT_NOZZLE
        };
        let from = all.iter().filter(stepped).min_by(|a, b| by_score(a, b))?;
        let improved = self.improved(from, &standard, (name, moves / costlier));
        all.push(improved);
        all.sort_by(by_score);
        Some(all)
    }

    /// Every candidate, its largest value about 1.
    fn shapes(&self) -> Vec<(Family, Table)> {
        let Bounds { row_s, span_s, .. } = self.bounds;
        let lag_s = self.axis().lag_s.value;
        let whole = |stay_s: f64| (stay_s / row_s).round().max(2.0) * row_s;
        let stay = |times: f64| whole(times * lag_s);
        let half_s = 0.5 * (span_s.1 - span_s.0);
        let mut out = vec![(Family::Sine, families::sine(half_s, row_s, span_s))];
        for times in [1.2, 1.8, 2.5, 3.5, 5.0] {
            let unit_s = stay(times);
            let of = families::three_two_one_one(unit_s, span_s);
            out.push((Family::ThreeTwoOneOne, of));
            out.push((Family::Doublets, families::doublets(unit_s, span_s)));
        }
        for seed in 0..24 {
            let stays = match seed {
                0..12 if seed % 2 == 0 => (1.0, 4.0),
                0..12 => (1.0, 7.0),
                // A backlash is told by long ones.
                _ => (3.0, 12.0),
            };
            let of = families::steps(seed, (stay(stays.0), stay(stays.1)), span_s);
            out.push((Family::Steps, of));
        }
        for times in [1.0, 2.0, 3.0] {
            let top_hz = (times / (std::f64::consts::TAU * lag_s)).min(0.2 / row_s);
            let of = families::multisine(7, top_hz, whole(0.0), span_s);
            out.push((Family::Multisine, of));
        }
        for (_, table) in &mut out {
            for (at_s, _) in table.iter_mut() {
                *at_s = (*at_s / row_s).round() * row_s;
            }
            table.dedup_by(|later, earlier| later.0 <= earlier.0);
        }
        out
    }

    pub(super) fn motion(&self, sampled: &Sampled, table: &[(f64, f64)]) -> Motion {
        motion(self.axis(), sampled, table, self.bounds.row_s)
    }

    /// Every sampled flight under a pattern.
    pub(super) fn motions(&self, table: &[(f64, f64)]) -> Vec<Motion> {
        let each = self.flights.iter();
        each.map(|one| self.motion(one, table)).collect()
    }

    /// How far each flight goes beyond its limits: at most 1 when it keeps them.
    fn loads_of(&self, flights: &Abreast, table: &[(f64, f64)]) -> [f64; LANES] {
        let axis = self.axis();
        let tilt_rad = OF_TILT_LIMIT * axis.tilt_limit_rad;
        let largest = flights.largest(axis, table, self.bounds.row_s);
        largest.map(|(tilt, step)| (tilt / tilt_rad).max(step / axis.command_step_deg))
    }

    /// The loads of all flights that count, the largest first, and whose they are.
    fn loads(&self, table: &[(f64, f64)]) -> Vec<(f64, usize)> {
        let each = self.abreast.iter();
        let all = each
            .flat_map(|some| self.loads_of(some, table))
            .zip(0..FLIGHTS);
        let mut all: Vec<(f64, usize)> = all.collect();
        all.sort_by(|a, b| b.0.total_cmp(&a.0));
        all.split_off((MAY_PASS * FLIGHTS as f64) as usize)
    }

    /// How many sampled flights of how many keep what a pattern may use of the tilt limit, without any pattern.
    pub(super) fn quiet_flights(&self) -> (usize, usize) {
        let limit = OF_TILT_LIMIT * self.axis().tilt_limit_rad;
        let motions = self.motions(&[]);
        let keeps = motions.iter().filter(|one| one.largest_tilt_rad() <= limit);
        (keeps.count(), FLIGHTS)
    }

    /// A shape in deg, as large as every limit allows; `None` when even little of it is too much.
    pub(super) fn as_large_as_allowed(&self, shape: &[(f64, f64)]) -> Option<Table> {
        let sizes = shape.iter().map(|(_, value)| value.abs());
        let largest_deg = self.axis().command_limit_deg / sizes.fold(0.0, f64::max);
        let within = |size_deg: f64| {
            let each = shape.iter();
            let table: Table = each
                .map(|(at_s, value)| (*at_s, round(value * size_deg)))
                .collect();
            (self.loads(&table).first()?.0 <= 1.0).then_some(table)
        };
        let mut best = within(largest_deg);
        if best.is_none() {
            // The loop's own tilt does not shrink with the shape, so what is too much is halved, not scaled.
            let (mut low_deg, mut high_deg) = (0.0, largest_deg);
            for _ in 0..HALVINGS {
                let size_deg = 0.5 * (low_deg + high_deg);
                match within(size_deg) {
                    Some(table) => (best, low_deg) = (Some(table), size_deg),
                    None => high_deg = size_deg,
                }
            }
        }
        best
    }

    fn line(&self, order: Vec<usize>) -> Line {
        let plants = order.iter().map(|at| &self.plants[*at]);
        Line {
            abreast: side_by_side(plants),
            order,
        }
    }

    /// What a table tells of each plant; `None` where it tells nothing of one, or will hardly be better than another.
    fn weighed(
        &self,
        (family, table): (Family, Table),
        line: &Line,
        than: Option<(&Best, &Standard)>,
    ) -> Option<Weighed> {
        let mut found: Vec<Option<Told>> = vec![None; self.plants.len()];
        let mut sums = than.map_or_else(Sums::default, |(best, _)| best.sums);
        let mut left = self.plants.len();
        for (plants, abreast) in line.order.chunks(LANES).zip(&line.abreast) {
            let each = abreast.commands(self.axis(), &table, self.bounds.row_s);
            for (&plant, commands) in plants.iter().zip(each) {
                let covariance = (self.setup).steering(&commands, &self.plants[plant].actuator)?;
                let told = Told {
                    log_determinant: log_determinant(&covariance)?,
                    u: [0, 1, 2, 3].map(|at| covariance[(at, at)].max(0.0).sqrt()),
                };
                found[plant] = Some(told);
                left -= 1;
                if let Some((best, standard)) = than {
                    let (now, was) = (standard.of(plant, &told), best.each[plant]);
                    sums.log_determinant += now.log_determinant - was.log_determinant;
                    sums.powers += now.powers - was.powers;
                    let may_gain = MAY_GAIN * left as f64 / found.len() as f64;
                    if standard.score(sums) - may_gain >= standard.score(best.sums) {
                        return None;
                    }
                }
            }
        }
        Some(Weighed {
            family,
            table,
            told: found.into_iter().collect::<Option<_>>()?,
        })
    }

    fn best(&self, weighed: Weighed, standard: &Standard) -> Best {
        let each = standard.each(&weighed);
        let mut order: Vec<usize> = (0..each.len()).collect();
        order.sort_by(|a, b| each[*b].powers.total_cmp(&each[*a].powers));
        Best {
            line: self.line(order),
            sums: sum(&each),
            weighed,
            each,
        }
    }

    /// Moves boundaries and levels, and keeps what is better and within the limits.
    fn improved(
        &self,
        from: &Weighed,
        standard: &Standard,
        (name, moves): (&str, usize),
    ) -> Weighed {
        let hardest = |table: &[(f64, f64)]| -> Option<Vec<Abreast>> {
            let loads = self.loads(table);
            let hard = loads.iter().take(LANES).map(|(_, at)| &self.flights[*at]);
            (loads.first()?.0 <= 1.0).then(|| side_by_side(hard))
        };
        let family = Family::Improved;
        let mut standard = Standard {
            order: FIRST_ORDER,
            ..standard.clone()
        };
        let start = Weighed {
            family,
            ..from.clone()
        };
        let mut hard = hardest(&start.table).unwrap_or_default();
        let mut best = self.best(start, &standard);
        let mut stream = Stream::new(1, &format!("improve {name}"));
        for nth in 0..moves {
            if nth % MOVES_OF_ORDER == 0 {
                let share = nth as f64 / (RISES_FOR * moves as f64);
                standard.order = FIRST_ORDER * (ORDER / FIRST_ORDER).powf(share.min(1.0));
                best = self.best(best.weighed, &standard);
            }
            let Some(table) = self.bounds.moved(&best.weighed.table, &mut stream) else {
                continue;
            };
            let mut loads = hard.iter().flat_map(|some| self.loads_of(some, &table));
            if loads.any(|load| load > 1.0) {
                continue;
            }
            let than = Some((&best, &standard));
            let Some(found) = self.weighed((family, table), &best.line, than) else {
                continue;
            };
            if let Some(found_hard) = hardest(&found.table) {
                hard = found_hard;
                best = self.best(found, &standard);
            }
        }
        best.weighed
    }
}

fn side_by_side<'a>(flights: impl Iterator<Item = &'a Sampled>) -> Vec<Abreast> {
    let flights: Vec<&Sampled> = flights.collect();
    flights.chunks(LANES).filter_map(Abreast::new).collect()
}

/// Of the numbers that can be told; `None` when the matrix is none of a covariance.
fn log_determinant(of: &nalgebra::DMatrix<f64>) -> Option<f64> {
    let known: Vec<usize> = (0..of.nrows()).filter(|at| of[(*at, *at)] > 0.0).collect();
    let part = of.select_rows(&known).select_columns(&known);
    let factor = part.cholesky()?;
    let logs = factor.l().diagonal().map(f64::ln);
    Some(2.0 * logs.sum())
}
