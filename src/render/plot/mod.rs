//! Pictures: one frame, and one short file for each kind of picture.
//!
//! Each picture is a [`Chart`] (or several over each other, or bars) that knows nothing of its width.

pub(crate) mod autocorrelation;
pub(crate) mod bars;
pub(crate) mod budget;
pub(crate) mod chart;
pub(crate) mod dead_band;
mod draw;
pub(crate) mod look;
pub(crate) mod loops;
pub(crate) mod mean_curve;
pub(crate) mod motors;
pub(crate) mod overview;
pub(crate) mod palette;
pub(crate) mod pattern;
pub(crate) mod record;
pub(crate) mod residuals;
pub(crate) mod ringing;
pub(crate) mod simulation;
pub(crate) mod steering;
pub(crate) mod thrust;

pub(crate) use bars::Bar;
pub(crate) use chart::{Across, Chart, Layer, Named, Role};

use crate::burn::BurnReport;
use crate::reduce::Reduction;
use crate::series::Series;

/// Share of the burn time shown before ignition and after burnout.
const AROUND_BURN: f64 = 0.08;

/// What runs under a picture of the burn.
const SINCE_IGNITION: Across = Across::Time("time since ignition, s");

fn named(layer: Layer, name: &str) -> Named {
    Named {
        layer,
        name: name.to_owned(),
        role: None,
    }
}

/// A layer that moves something when the firing is replayed.
fn played(layer: Layer, name: &str, role: Role) -> Named {
    Named {
        role: Some(role),
        ..named(layer, name)
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

/// A line at one height.
fn level((from, to): (f64, f64), height: f64) -> Vec<(f64, f64)> {
    vec![(from, height), (to, height)]
}
