//! Pictures as SVG: one frame, and one short file for each picture.
//!
//! Each picture is a [`Chart`] (or [`Bars`]) that knows nothing of its size, so that the page can
//! draw it once for screens and paper and once for telephones.

pub mod autocorrelation;
pub mod bars;
pub mod budget;
pub mod chart;
pub mod command_loop;
pub mod cumulated;
pub mod dead_band;
pub mod label;
mod live;
pub mod load;
pub mod loops;
pub mod mean_curve;
pub mod motors;
pub mod nozzle;
pub mod palette;
pub mod pressure;
pub mod residuals;
pub mod ringing;
pub mod simulation;
pub mod thrust;
pub mod tilt;

pub use bars::Bars;
pub use chart::{Across, Chart, Layer, Named, Size};

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
