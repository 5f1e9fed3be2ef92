//! Which picture is drawn from what.

use maud::{Markup, PreEscaped, html};

use crate::compare::Comparison;
use crate::control::GainsFile;
use crate::flight::SimulationFile;
use crate::reduce::Reduction;
use crate::render::plot::{self, Bars, Chart, Size};
use crate::view::Picture;

/// A picture as it is drawn.
pub(super) enum Drawing {
    /// With axes.
    Chart(Chart),
    /// Bars that lie.
    Bars(Bars),
}

/// Draws a picture; `None` when there is nothing to draw.
pub(super) type Draw<'a> = &'a dyn Fn(&Picture) -> Option<Drawing>;

impl From<Chart> for Drawing {
    fn from(chart: Chart) -> Self {
        Self::Chart(chart)
    }
}

impl From<Bars> for Drawing {
    fn from(bars: Bars) -> Self {
        Self::Bars(bars)
    }
}

impl Drawing {
    /// The picture in both sizes; only one of them is shown. Pictures over time carry their curves for
    /// the script.
    pub(super) fn figure(&self, caption: &str) -> Markup {
        let (curves, svg): (_, &dyn Fn(Size) -> String) = match self {
            Self::Chart(chart) => (chart.live(), &|size| chart.svg(size)),
            Self::Bars(bars) => (None, &|size| bars.svg(size)),
        };
        html! {
            figure {
                figcaption { (caption) }
                div.picture data-curves=[curves] {
                    div.wide { (PreEscaped(svg(Size::WIDE))) }
                    div.narrow { (PreEscaped(svg(Size::NARROW))) }
                }
            }
        }
    }
}

pub(super) fn of_firing(reduction: &Reduction, picture: &Picture) -> Option<Drawing> {
    let (result, traces) = (&reduction.result, &reduction.traces);
    let axis = |name: &str| Some((result.plant.get(name)?, traces.axes.get(name)?));
    let chart = match picture {
        Picture::Thrust => plot::thrust::thrust(reduction),
        Picture::Ringing => plot::ringing::ringing(reduction),
        Picture::Load => plot::load::load(reduction),
        Picture::Impulse => plot::cumulated::cumulated(reduction),
        Picture::Pressure => plot::pressure::pressure(reduction),
        Picture::Ignition => plot::motors::motors(reduction),
        Picture::Budget => {
            let impulse = result.impulse.as_ref()?;
            return plot::budget::budget(impulse).map(Drawing::from);
        }
        Picture::PlacesInClass => {
            let class = result.class.as_ref()?;
            return plot::budget::places_in_class(class).map(Drawing::from);
        }
        Picture::CellResiduals(cell) => {
            let points = traces.calibration.get(cell)?;
            plot::residuals::residuals(result.cells.get(cell)?, points)
        }
        Picture::Nozzle(name) => plot::nozzle::nozzle(axis(name)?.1),
        Picture::Tilt(name) => plot::tilt::tilt(axis(name)?.1),
        Picture::CommandLoop(name) => {
            let (plant, trace) = axis(name)?;
            plot::command_loop::command_loop(plant, trace)
        }
        Picture::DeadBand(name) => {
            let (plant, trace) = axis(name)?;
            plot::dead_band::dead_band(plant, trace)
        }
        Picture::Autocorrelation(name) => {
            let (plant, trace) = axis(name)?;
            plot::autocorrelation::autocorrelation(plant, trace)
        }
        _ => None,
    };
    chart.map(Drawing::from)
}

pub(super) fn of_gains(of: &GainsFile, picture: &Picture) -> Option<Drawing> {
    let chart = match picture {
        Picture::OpenLoop(axis) => plot::loops::open_loop(of.axes.get(axis)?),
        Picture::Disturbance(axis) => plot::loops::disturbance(of.axes.get(axis)?),
        Picture::FirstCommands(axis) => plot::loops::first_commands(of.axes.get(axis)?),
        _ => None,
    };
    chart.map(Drawing::from)
}

pub(super) fn of_simulation(of: &SimulationFile, picture: &Picture) -> Option<Drawing> {
    let chart = match picture {
        Picture::Track(axis) => plot::simulation::track(&of.axes.get(axis)?.nominal.track),
        Picture::Percentiles(axis) => {
            let many = of.axes.get(axis)?.monte_carlo.as_ref()?;
            plot::simulation::percentiles(many.band.as_ref()?)
        }
        Picture::Replay(axis) => plot::simulation::replay(of.axes.get(axis)?.replay.as_ref()?),
        _ => None,
    };
    chart.map(Drawing::from)
}

pub(super) fn of_comparison(of: &Comparison, picture: &Picture) -> Option<Drawing> {
    match picture {
        Picture::MeanThrust => plot::mean_curve::mean_curve(of.curve.as_ref()?).map(Drawing::from),
        _ => None,
    }
}
