//! Which picture is drawn from what.

use maud::{Markup, html};

use crate::compare::Comparison;
use crate::control::GainsFile;
use crate::flight::SimulationFile;
use crate::plan::Design;
use crate::quantity::Units;
use crate::reduce::Reduction;
use crate::render::plot::{self, Bar, Chart};
use crate::view::Picture;

use super::rig;

/// A picture as it is drawn.
pub(super) enum Drawing<'a> {
    /// With axes; several stand over each other.
    Charts(Vec<Chart>),
    /// Bars that lie.
    Bars(Vec<Bar>),
    /// The rig from the side.
    Rig(&'a Reduction),
}

/// Draws a picture; `None` when there is nothing to draw.
pub(super) type Draw<'a> = &'a dyn Fn(&Picture) -> Option<Drawing<'a>>;

impl From<Chart> for Drawing<'_> {
    fn from(chart: Chart) -> Self {
        Self::Charts(vec![chart])
    }
}

impl Drawing<'_> {
    /// The same with a second scale where other units are asked for.
    pub(super) fn shown_in(mut self, units: Units) -> Self {
        if let (Self::Charts(charts), Units::Us) = (&mut self, units) {
            charts.iter_mut().for_each(Chart::set_customary);
        }
        self
    }

    /// The picture under its caption; nothing of what has nothing to draw.
    pub(super) fn figure(&self, caption: &str) -> Markup {
        html! {
            @match self {
                Self::Charts(charts) if !charts.is_empty() => figure {
                    @if !caption.is_empty() { figcaption { (caption) } }
                    @for chart in charts { (chart.markup()) }
                },
                Self::Bars(bars) if !bars.is_empty() => figure {
                    figcaption { (caption) }
                    (plot::bars::markup(bars))
                },
                Self::Rig(reduction) => @if let Some(rig) = rig::figure(reduction, caption) { (rig) },
                _ => {}
            }
        }
    }
}

pub(super) fn of_firing<'a>(reduction: &'a Reduction, picture: &Picture) -> Option<Drawing<'a>> {
    let (result, traces) = (&reduction.result, &reduction.traces);
    let axis = |name: &str| Some((result.plant.get(name)?, traces.axes.get(name)?));
    let chart = match picture {
        Picture::Thrust => return Some(Drawing::Charts(plot::overview::overview(reduction))),
        Picture::Rig => return Some(Drawing::Rig(reduction)),
        Picture::Difference => plot::thrust::difference(reduction),
        Picture::Ringing => plot::ringing::ringing(reduction),
        Picture::Record => plot::record::record(reduction),
        Picture::Impulse => plot::thrust::cumulated(reduction),
        Picture::Pressure => plot::thrust::pressure(reduction),
        Picture::Ignition => plot::motors::motors(reduction),
        Picture::Budget => {
            let impulse = result.impulse.as_ref()?;
            return Some(Drawing::Bars(plot::budget::budget(impulse)));
        }
        Picture::PlacesInClass => {
            let class = result.class.as_ref()?;
            return Some(Drawing::Bars(plot::budget::places_in_class(class)));
        }
        Picture::CellResiduals(cell) => {
            let points = traces.calibration.get(cell)?;
            plot::residuals::residuals(result.cells.get(cell)?, points)
        }
        Picture::Nozzle(name) => {
            return Some(Drawing::Charts(plot::steering::nozzle(axis(name)?.1)));
        }
        Picture::Tilt(name) => {
            return Some(Drawing::Charts(plot::steering::tilt(axis(name)?.1)));
        }
        Picture::DeadBand(name) => {
            let (plant, trace) = axis(name)?;
            plot::dead_band::dead_band(plant, trace)
        }
        Picture::Autocorrelation(name) => plot::autocorrelation::autocorrelation(axis(name)?.1),
        _ => None,
    };
    chart.map(Drawing::from)
}

pub(super) fn of_gains(of: &GainsFile, picture: &Picture) -> Option<Drawing<'static>> {
    let chart = match picture {
        Picture::OpenLoop(axis) => plot::loops::open_loop(of.axes.get(axis)?),
        Picture::Disturbance(axis) => plot::loops::disturbance(of.axes.get(axis)?),
        Picture::FirstCommands(axis) => plot::loops::first_commands(of.axes.get(axis)?),
        _ => None,
    };
    chart.map(Drawing::from)
}

pub(super) fn of_simulation(of: &SimulationFile, picture: &Picture) -> Option<Drawing<'static>> {
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

pub(super) fn of_pattern(of: &Design, picture: &Picture) -> Option<Drawing<'static>> {
    match picture {
        Picture::Pattern(axis) => Some(Drawing::Charts(plot::pattern::pattern(of.axes.get(axis)?))),
        _ => None,
    }
}

pub(super) fn of_comparison(of: &Comparison, picture: &Picture) -> Option<Drawing<'static>> {
    match picture {
        Picture::MeanThrust => plot::mean_curve::mean_curve(of).map(Drawing::from),
        _ => None,
    }
}
