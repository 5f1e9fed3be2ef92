//! Pictures as SVG: one frame, and one short file for each picture.
//!
//! Each picture is a [`Chart`] (or [`Bars`]) that knows nothing of its size, so that the page can
//! draw it once for screens and paper and once for telephones.

pub(crate) mod autocorrelation;
pub(crate) mod bars;
pub(crate) mod budget;
pub(crate) mod chart;
pub(crate) mod command_loop;
pub(crate) mod cumulated;
pub(crate) mod dead_band;
pub(crate) mod label;
mod live;
pub(crate) mod load;
pub(crate) mod loops;
pub(crate) mod mean_curve;
pub(crate) mod motors;
pub(crate) mod nozzle;
pub(crate) mod palette;
pub(crate) mod pressure;
pub(crate) mod residuals;
pub(crate) mod ringing;
pub(crate) mod simulation;
pub(crate) mod thrust;
pub(crate) mod tilt;

pub(crate) use bars::Bars;
pub(crate) use chart::{Across, Chart, Layer, Named, Size};

use crate::burn::BurnReport;
use crate::reduce::Reduction;
use crate::series::Series;

/// Share of the burn time shown before ignition and after burnout.
const AROUND_BURN: f64 = 0.08;

fn named(layer: Layer, name: &str) -> Named {
    Named {
        layer,
        name: name.to_owned(),
    }
}

/// Ignition and burnout of the burn, s.
fn burn_ends_s(reduction: &Reduction) -> Option<(f64, f64)> {
    let burn: &BurnReport = reduction.result.burn.as_ref()?;
    let (ignition, burnout) = (burn.ignition_s.as_ref()?, burn.burnout_s.as_ref()?);
    (burnout.value > ignition.value).then_some((ignition.value, burnout.value))
}

/// The part of a series around the burn, on a clock that is zero at ignition.
fn around_burn(series: &Series, (ignition, burnout): (f64, f64)) -> Series {
    let margin = AROUND_BURN * (burnout - ignition);
    series
        .between(ignition - margin, burnout + margin)
        .map_time(|time| time - ignition)
}

fn points(series: &Series) -> Vec<(f64, f64)> {
    series.iter().collect()
}
