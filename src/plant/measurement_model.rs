//! A measurement model of the actuator: the nozzle angle, or tilt and rate alone.
//!
//! Each model searches for parameters in an order of its own ([`super::parameter`]); both orders begin with the same
//! five places, so search, structure choice and intervals are written once. The cost is rough in delay and dead-band width: [`scan`] tries a grid of lag,
//! delay and width with the linear parameters solved for at each point (variable projection; Golub
//! & Pereyra 1973), and [`refine`] starts from the best points and moves all parameters together.

use nalgebra::{DMatrix, DVector};

use super::DeadBandKind;
use super::actuator::ActuatorParameters;
use super::excitation::Movement;
use super::parameter::{Bounds, NOZZLE_ORDER, Parameter, TILT_ORDER, Typical, place};
use crate::numeric::dual::Scalar;
use crate::numeric::least_squares::{Minimum, Residuals, Search, minimise};

/// Gain (or gain times effectiveness), bias (or thrust bias), lag in s, delay in s and dead-band width in deg: the
/// places with which every order begins.
pub(crate) type Steering = [f64; 5];

/// Place of the lag in both orders.
pub(crate) const LAG: usize = place(&NOZZLE_ORDER, Parameter::Lag);
/// Place of the delay.
pub(crate) const DELAY: usize = place(&NOZZLE_ORDER, Parameter::Delay);
/// Place of the dead-band width.
pub(crate) const WIDTH: usize = place(&NOZZLE_ORDER, Parameter::DeadBandWidth);

const _: () = {
    assert!(place(&TILT_ORDER, Parameter::Lag) == LAG && LAG == 2);
    assert!(place(&TILT_ORDER, Parameter::Delay) == DELAY && DELAY == 3);
    assert!(place(&TILT_ORDER, Parameter::DeadBandWidth) == WIDTH && WIDTH == 4);
};

/// A set of residuals that depends on an actuator.
pub trait MeasurementModel {
    /// What it searches for, in the order of its vectors.
    const ORDER: &'static [Parameter];

    /// Where a search for a parameter behind [`Steering`] starts.
    fn start_of(&self, parameter: Parameter) -> f64;
    /// Whether a parameter is fixed, whatever the structure.
    fn is_fixed(&self, parameter: Parameter) -> bool;
    /// Size of the command's movement: no dead band wider than it can be told.
    fn movement(&self) -> Movement;
    /// Residuals.
    fn residuals(&self, kind: DeadBandKind, x: &[f64]) -> DVector<f64>;
    /// Residuals and derivatives.
    fn with_jacobian(&self, kind: DeadBandKind, x: &[f64]) -> (DVector<f64>, DMatrix<f64>);
    /// For the scan: what is to be explained, and the column for the bias.
    fn to_explain(&self) -> (DVector<f64>, DVector<f64>);
    /// The columns for the gain at points of the scan.
    fn gain_columns(&self, kind: DeadBandKind, points: &[ScanPoint]) -> Vec<DVector<f64>>;
    /// Gain and bias from the scan's two coefficients.
    fn gain_and_bias(&self, coefficients: [f64; 2]) -> [f64; 2] {
        coefficients
    }

    /// The same model of few readings, where most of a search's way can be gone with them.
    fn of_few(&self) -> Option<Self>
    where
        Self: Sized,
    {
        None
    }

    /// Place of a parameter in its vectors.
    #[must_use]
    fn at(parameter: Parameter) -> usize {
        place(Self::ORDER, parameter)
    }

    /// A whole vector that begins so.
    fn start(&self, steering: Steering) -> Vec<f64> {
        let others = &Self::ORDER[steering.len()..];
        let others = others.iter().map(|parameter| self.start_of(*parameter));
        steering.into_iter().chain(others).collect()
    }

    /// The actuator's parameters in a vector; those fixed or not searched for are left out.
    fn actuator<S: Scalar>(&self, x: &[S]) -> ActuatorParameters<S> {
        ActuatorParameters::new(|parameter| {
            let searched = Self::ORDER.contains(&parameter) && !self.is_fixed(parameter);
            searched.then(|| x[Self::at(parameter)])
        })
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

impl ScanPoint {
    /// The actuator with a gain of 1 there.
    pub(super) fn unit(&self) -> ActuatorParameters<f64> {
        ActuatorParameters::new(|parameter| match parameter {
            Parameter::Lag => Some(self.lag_s),
            Parameter::Delay => Some(self.delay_s),
            Parameter::DeadBandWidth => Some(self.width_deg),
            _ => None,
        })
    }
}

/// A model under one kind of dead band.
struct UnderStructure<'a, V>(&'a V, DeadBandKind);

impl<V: MeasurementModel> Residuals for UnderStructure<'_, V> {
    fn residuals(&self, x: &[f64]) -> DVector<f64> {
        self.0.residuals(self.1, x)
    }
    fn with_jacobian(&self, x: &[f64]) -> (DVector<f64>, DMatrix<f64>) {
        self.0.with_jacobian(self.1, x)
    }
}

/// A fit under one kind of dead band, with an actuator of first or of second order.
#[derive(Debug, Clone)]
pub struct StructureFit {
    /// The kind.
    pub kind: DeadBandKind,
    /// Whether the actuator is one of second order.
    pub second_order: bool,
    /// The minimum.
    pub minimum: Minimum,
}

impl StructureFit {
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
pub(crate) fn scan(
    model: &impl MeasurementModel,
    kind: DeadBandKind,
    slowest_s: f64,
) -> Vec<Steering> {
    let none = [0.0];
    let widths: &[f64] = if kind == DeadBandKind::None {
        &none
    } else {
        &SCAN_WIDTHS
    };
    let delays = |lag_s: f64| SCAN_DELAYS_S.iter().map(move |delay_s| (lag_s, *delay_s));
    let times: Vec<(f64, f64)> = (SCAN_LAGS_S.into_iter().flat_map(delays))
        .filter(|(lag_s, delay_s)| lag_s + delay_s <= slowest_s)
        .collect();
    let to_explain = model.to_explain();
    let mut best: Vec<(f64, Steering)> = Vec::new();
    for share in widths {
        let width_deg = share * model.movement().widest_deg;
        let point = |&(lag_s, delay_s): &(f64, f64)| ScanPoint {
            lag_s,
            delay_s,
            width_deg,
        };
        let points: Vec<ScanPoint> = times.iter().map(point).collect();
        let solved = with_gain_and_bias(model, kind, &to_explain, &points).into_iter();
        best.extend(solved.min_by(|a, b| a.0.total_cmp(&b.0)));
    }
    first_of(best)
}

/// The points of some from which a search goes on, with gain and bias, best first: where starts are given, not scanned for.
pub fn best_of(
    model: &impl MeasurementModel,
    kind: DeadBandKind,
    points: &[ScanPoint],
) -> Vec<Steering> {
    first_of(with_gain_and_bias(model, kind, &model.to_explain(), points))
}

/// Points of a scan with the gain and bias that are best there, and the sum of squares they leave.
fn with_gain_and_bias(
    model: &impl MeasurementModel,
    kind: DeadBandKind,
    (target, bias_column): &(DVector<f64>, DVector<f64>),
    points: &[ScanPoint],
) -> Vec<(f64, Steering)> {
    let columns = model.gain_columns(kind, points);
    let solved = points.iter().zip(columns).filter_map(|(point, column)| {
        let (cost, two) = solve_two(target, &column, bias_column)?;
        let [gain, bias] = model.gain_and_bias(two);
        let steering = [gain, bias, point.lag_s, point.delay_s, point.width_deg];
        Some((cost, steering))
    });
    solved.collect()
}

/// Those from which the search goes on, best first.
fn first_of(mut points: Vec<(f64, Steering)>) -> Vec<Steering> {
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    points.truncate(STARTS);
    points.into_iter().map(|(_, steering)| steering).collect()
}

/// Least squares in two linear parameters, by Gram and Schmidt: the sum of squares left and the
/// parameters; `None` when one of them has no effect of its own.
#[must_use]
pub(crate) fn solve_two(
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

/// The best fit under one kind of dead band. Of several starts few readings tell, where they can, which ends are worth going to.
pub fn refine<M: MeasurementModel>(
    model: &M,
    kind: DeadBandKind,
    starts: &[Steering],
) -> Option<StructureFit> {
    let starts = starts.iter().map(|steering| model.start(*steering));
    let mut starts: Vec<Vec<f64>> = starts.collect();
    if starts.len() > 1
        && let Some(few) = model.of_few()
    {
        starts = ends(&few, kind, &starts);
    }
    starts
        .iter()
        .map(|start| fit_from(model, kind, start, None))
        .min_by(|a, b| a.cost().total_cmp(&b.cost()))
}

/// Ends that fits to few readings count as one, in typical sizes.
const SAME_END: f64 = 0.02;
/// An end is worth going on from while its sum of squares is within this of the least: few readings scatter.
const WORTH: f64 = 1.5;

/// Where searches over few readings end that come near the best.
fn ends<M: MeasurementModel>(few: &M, kind: DeadBandKind, starts: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let each = starts
        .iter()
        .map(|start| fit_within(few, kind, start, None, ROUGH));
    let mut fits: Vec<StructureFit> = each.collect();
    fits.sort_by(|a, b| a.cost().total_cmp(&b.cost()));
    let worth = WORTH * fits.first().map_or(0.0, StructureFit::cost);
    let mut out: Vec<Vec<f64>> = Vec::new();
    for fit in fits.into_iter().take_while(|fit| fit.cost() <= worth) {
        let x = fit.minimum.x;
        if !out.iter().any(|other| same_end(few, other, &x)) {
            out.push(x);
        }
    }
    out
}

/// Whether two vectors are one end of a search.
fn same_end<M: MeasurementModel>(model: &M, a: &[f64], b: &[f64]) -> bool {
    M::ORDER.iter().enumerate().all(|(at, parameter)| {
        model.is_fixed(*parameter)
            || (a[at] - b[at]).abs() <= SAME_END * typical(model, *parameter, b)
    })
}

/// Shares of a step, and of the sum of squares, that end a search: the model has kinks wherever a switching time passes a reading, so no
/// more digits are there. Where few readings tell an end, fewer are of use.
const FINE: (f64, f64) = (1e-6, 1e-7);
const ROUGH: (f64, f64) = (1e-3, 1e-4);

/// Goes on from a start, with one more parameter held if asked; of second order where the start has a damping ratio.
pub(crate) fn fit_from<M: MeasurementModel>(
    model: &M,
    kind: DeadBandKind,
    start: &[f64],
    also_held: Option<Parameter>,
) -> StructureFit {
    fit_within(model, kind, start, also_held, FINE)
}

fn fit_within<M: MeasurementModel>(
    model: &M,
    kind: DeadBandKind,
    start: &[f64],
    also_held: Option<Parameter>,
    within: (f64, f64),
) -> StructureFit {
    let mut search = Search::free(start);
    let second_order = start[M::at(Parameter::DampingRatio)] > 0.0;
    for (at, &parameter) in M::ORDER.iter().enumerate() {
        search.typical[at] = typical(model, parameter, start);
        search.held[at] = model.is_fixed(parameter)
            || also_held == Some(parameter)
            || (parameter == Parameter::DeadBandWidth && kind == DeadBandKind::None)
            || (parameter == Parameter::DampingRatio && !second_order);
        if !model.is_fixed(parameter) && (parameter != Parameter::DampingRatio || second_order) {
            (search.low[at], search.high[at]) = match parameter.definition().bounds {
                Bounds::Free => (f64::NEG_INFINITY, f64::INFINITY),
                Bounds::Within(low, high) => (low, high),
                Bounds::ToWidestCommand => (0.0, model.movement().widest_deg),
            };
        }
    }
    (search.step, search.gain) = within;
    search.angle = 1e-7;
    search.most_steps = 40;
    StructureFit {
        kind,
        second_order,
        minimum: minimise(&UnderStructure(model, kind), start, &search),
    }
}

/// Typical size of a parameter.
fn typical<M: MeasurementModel>(model: &M, parameter: Parameter, start: &[f64]) -> f64 {
    match parameter.definition().typical {
        Typical::Fixed(size) => size,
        Typical::OfCommand(share) => share * model.movement().widest_deg.max(1e-3),
        Typical::OfStart(least) => start[M::at(parameter)].abs().max(least),
        Typical::Of(other, share) => share * typical(model, other, start),
    }
}
