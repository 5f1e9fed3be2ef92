//! One way of seeing the actuator: through the nozzle angle, or through the tilt alone.
//!
//! Both views share the first five parameters, so search, structure choice and intervals are
//! written once. The cost is rough in delay and dead-band width: [`scan`] tries a grid of lag,
//! delay and width with the linear parameters solved for at each point (variable projection; Golub
//! & Pereyra 1973), and [`refine`] starts from the best points and moves all parameters together.

use nalgebra::{DMatrix, DVector};

use super::DeadBandKind;
use super::excitation::Movement;
use crate::numeric::least_squares::{Minimum, Residuals, Search, minimise};

/// Place of the gain (seen from tilt alone: gain times effectiveness) among the parameters.
pub const GAIN: usize = 0;
/// Place of the bias, deg (seen from tilt alone: of the thrust bias).
pub const BIAS: usize = 1;
/// Place of the lag, s.
pub const LAG: usize = 2;
/// Place of the delay, s.
pub const DELAY: usize = 3;
/// Place of the dead-band width, deg.
pub const WIDTH: usize = 4;

/// Shortest lag that is searched, s: a tenth of a millisecond is faster than any servo.
const SHORTEST_LAG_S: f64 = 1e-4;
/// Longest lag and delay that are searched, s: slower than any servo that could steer.
const LONGEST_S: f64 = 1.0;

/// A set of residuals that depends on an actuator.
pub trait View {
    /// Parameters at a point where only the first five are known.
    fn start(&self, core: [f64; 5]) -> Vec<f64>;
    /// Parameters held beyond those that the structure holds.
    fn held(&self) -> Vec<usize>;
    /// Bounds of the parameters beyond the first five.
    fn limit(&self, _search: &mut Search) {}
    /// Typical sizes of the parameters.
    fn typical(&self, start: &[f64]) -> Vec<f64>;
    /// Size of the command's movement: no dead band wider than it can be told.
    fn movement(&self) -> Movement;
    /// Residuals.
    fn residuals(&self, kind: DeadBandKind, x: &[f64]) -> DVector<f64>;
    /// Residuals and derivatives.
    fn with_jacobian(&self, kind: DeadBandKind, x: &[f64]) -> (DVector<f64>, DMatrix<f64>);
    /// For the scan: what is to be explained, by a column for the gain and one for the bias.
    fn columns(&self, kind: DeadBandKind, point: ScanPoint) -> (DVector<f64>, DMatrix<f64>);
    /// Gain and bias from the scan's two coefficients.
    fn gain_and_bias(&self, coefficients: [f64; 2]) -> [f64; 2] {
        coefficients
    }
}

/// A point of the scan.
#[derive(Debug, Clone, Copy)]
pub struct ScanPoint {
    /// Lag, s.
    pub lag_s: f64,
    /// Delay, s.
    pub delay_s: f64,
    /// Width, deg.
    pub width_deg: f64,
}

/// A view under one kind of dead band.
struct Kinded<'a, V>(&'a V, DeadBandKind);

impl<V: View> Residuals for Kinded<'_, V> {
    fn residuals(&self, x: &[f64]) -> DVector<f64> {
        self.0.residuals(self.1, x)
    }
    fn with_jacobian(&self, x: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
        self.0.with_jacobian(self.1, x)
    }
}

/// A fit under one kind of dead band.
#[derive(Debug, Clone)]
pub struct KindFit {
    /// The kind.
    pub kind: DeadBandKind,
    /// The minimum.
    pub minimum: Minimum,
}

impl KindFit {
    /// Sum of squares.
    #[must_use]
    pub fn cost(&self) -> f64 {
        self.minimum.sum_of_squares()
    }
}

/// Lags of the scan, s: from a fast digital servo to a slow one.
const SCAN_LAGS_S: [f64; 5] = [0.004, 0.012, 0.03, 0.07, 0.18];
/// Delays of the scan, s.
const SCAN_DELAYS_S: [f64; 8] = [0.0, 0.004, 0.009, 0.016, 0.028, 0.05, 0.09, 0.16];
/// Widths of the scan, as a share of the widest command movement.
const SCAN_WIDTHS: [f64; 9] = [0.01, 0.025, 0.05, 0.08, 0.12, 0.18, 0.27, 0.4, 0.6];
/// Points of the scan from which the search goes on.
const STARTS: usize = 3;

/// The best points of a grid over lag, delay and width, with gain and bias, best first and no two
/// of the same width.
///
/// Points slower altogether than `slowest_s` (lag and delay together) are passed over.
pub fn scan(view: &impl View, kind: DeadBandKind, slowest_s: f64) -> Vec<[f64; 5]> {
    let none = [0.0];
    let widths: &[f64] = if kind == DeadBandKind::None {
        &none
    } else {
        &SCAN_WIDTHS
    };
    let mut best: Vec<(f64, [f64; 5])> = Vec::new();
    for share in widths {
        let width_deg = share * view.movement().widest_deg;
        let mut best_here: Option<(f64, [f64; 5])> = None;
        for lag_s in SCAN_LAGS_S {
            for delay_s in SCAN_DELAYS_S {
                if lag_s + delay_s > slowest_s {
                    continue;
                }
                let point = ScanPoint {
                    lag_s,
                    delay_s,
                    width_deg,
                };
                let Some((cost, two)) = project(view, kind, point) else {
                    continue;
                };
                if best_here.is_none_or(|(least, _)| cost < least) {
                    let [gain, bias] = view.gain_and_bias(two);
                    best_here = Some((cost, [gain, bias, lag_s, delay_s, width_deg]));
                }
            }
        }
        best.extend(best_here);
    }
    best.sort_by(|a, b| a.0.total_cmp(&b.0));
    best.truncate(STARTS);
    best.into_iter().map(|(_, core)| core).collect()
}

fn project(view: &impl View, kind: DeadBandKind, point: ScanPoint) -> Option<(f64, [f64; 2])> {
    let (target, columns) = view.columns(kind, point);
    solve_two(
        &target,
        &columns.column(0).into_owned(),
        &columns.column(1).into_owned(),
    )
}

/// Least squares in two linear parameters, by Gram and Schmidt: the sum of squares left and the
/// parameters; `None` when one of them has no effect of its own.
#[must_use]
pub fn solve_two(
    target: &DVector<f64>,
    first: &DVector<f64>,
    second: &DVector<f64>,
) -> Option<(f64, [f64; 2])> {
    let second_size = second.norm_squared();
    if second_size <= 0.0 {
        return None;
    }
    let share = first.dot(second) / second_size;
    let upright = first - second * share;
    let size = upright.norm_squared();
    if size <= 1e-20 * first.norm_squared() || size <= 0.0 {
        return None;
    }
    let a = upright.dot(target) / size;
    let b = second.dot(target) / second_size - a * share;
    let cost = (target - first * a - second * b).norm_squared();
    cost.is_finite().then_some((cost, [a, b]))
}

/// The best fit under one kind of dead band.
pub fn refine(view: &impl View, kind: DeadBandKind, starts: &[[f64; 5]]) -> Option<KindFit> {
    starts
        .iter()
        .map(|core| fit_from(view, kind, &view.start(*core), None))
        .min_by(|a, b| a.cost().total_cmp(&b.cost()))
}

/// Goes on from a start, with one more parameter held if asked.
pub fn fit_from(
    view: &impl View,
    kind: DeadBandKind,
    start: &[f64],
    also_held: Option<usize>,
) -> KindFit {
    let mut search = Search::free(start);
    search.typical = view.typical(start);
    for i in view.held().into_iter().chain(also_held) {
        search.held[i] = true;
    }
    search.held[WIDTH] |= kind == DeadBandKind::None;
    search.low[LAG] = SHORTEST_LAG_S;
    search.high[LAG] = LONGEST_S;
    search.low[DELAY] = 0.0;
    search.high[DELAY] = LONGEST_S;
    search.low[WIDTH] = 0.0;
    search.high[WIDTH] = view.movement().widest_deg;
    view.limit(&mut search);
    // The model has kinks wherever a switching time passes a reading, so no more digits are there.
    (search.angle, search.step, search.gain) = (1e-7, 1e-6, 1e-7);
    search.most_steps = 40;
    KindFit {
        kind,
        minimum: minimise(&Kinded(view, kind), start, &search),
    }
}
