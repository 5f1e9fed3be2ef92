//! Steering axes of the rig, and the free rocket their plant is carried over to.

use std::f64::consts::FRAC_PI_2;
use std::path::{Path, PathBuf};

use super::document::Table;
use super::inertia;
use super::logs::{Signal, read_signal_of};
use crate::diagnostic::{Located, Place};
use crate::quantity::unit::Dimension;
use crate::quantity::{Angle, Given, Inertia, Length, Mass};

/// One steering axis.
#[derive(Debug, Clone)]
pub struct Axis {
    /// Where its table stands.
    pub place: Place,
    /// The computer's command.
    pub command: Signal,
    /// Measured nozzle angle.
    pub nozzle: Option<Signal>,
    /// Measured tilt.
    pub tilt: Option<Signal>,
    /// Measured tilt rate.
    pub rate: Option<Signal>,
    /// Mechanical limit of the nozzle, either side.
    pub travel: Option<Given<Angle>>,
    /// Rig pivot to nozzle swivel point.
    pub arm: Option<Given<Length>>,
    /// Moment of inertia of all that swings, about the rig pivot.
    pub inertia: Option<Given<Inertia>>,
    /// The same at burnout.
    pub inertia_spent: Option<Given<Inertia>>,
    /// The part of it that stays on the ground.
    pub frame_inertia: Option<Given<Inertia>>,
    /// Pivot to centre of gravity, positive when the centre of gravity is above.
    pub pivot_to_cg: Option<Given<Length>>,
    /// A sweep of the nozzle on the bench, up and down: points of command, deg, and angle.
    pub sweep: Option<Located<PathBuf>>,
    /// Tilt in a free swing of the loaded rig without thrust; its log may need no alignment.
    pub swing: Option<Signal>,
    /// Mass of all that swings.
    pub swinging_mass: Option<Given<Mass>>,
}

impl Axis {
    /// The signals the axis refers to.
    pub fn signals(&self) -> impl Iterator<Item = &Signal> {
        [
            Some(&self.command),
            self.nozzle.as_ref(),
            self.tilt.as_ref(),
            self.rate.as_ref(),
        ]
        .into_iter()
        .flatten()
    }
}

/// The free rocket.
#[derive(Debug, Clone)]
pub struct Vehicle {
    /// Its mass.
    pub mass: Option<Given<Mass>>,
    /// Moment of inertia about its own centre of gravity.
    pub inertia: Given<Inertia>,
    /// Centre of gravity to swivel point.
    pub arm: Given<Length>,
}

const ANGLES: &str = "deg, rad, mrad";

pub(super) fn read(table: &mut Table<'_>, folder: &Path) -> Option<Axis> {
    let place = table.place();
    if !table.has("command") {
        table.missing(
            "command",
            "command = { log = \"..\", column = \"..\", unit = \"deg\" }",
        );
    }
    let angle =
        |table: &mut Table<'_>, key| read_signal_of(table, key, folder, Dimension::ANGLE, ANGLES);
    let command = angle(table, "command");
    let nozzle = angle(table, "nozzle");
    let tilt = angle(table, "tilt");
    let swing = angle(table, "swing");
    let rate = read_signal_of(
        table,
        "rate",
        folder,
        Dimension::ANGULAR_RATE,
        "deg/s, rad/s",
    );
    let axis = Axis {
        place,
        nozzle,
        tilt,
        rate,
        travel: table.bounded(
            "travel",
            |angle_rad| angle_rad > 0.0 && angle_rad <= FRAC_PI_2,
            "lies above 0 deg, up to 90 deg",
        ),
        arm: table.positive("arm"),
        inertia: inertia::read(table, "inertia"),
        inertia_spent: inertia::read(table, "inertia_spent"),
        frame_inertia: table.not_negative("frame_inertia"),
        pivot_to_cg: table.quantity("pivot_to_cg"),
        swinging_mass: table.positive("swinging_mass"),
        swing,
        sweep: table.text("sweep").map(|name| Located {
            value: folder.join(&name.value),
            place: name.place,
        }),
        command: command?,
    };
    Some(axis)
}

pub(super) fn read_vehicle(table: &mut Table<'_>) -> Option<Vehicle> {
    let mass = table.positive("mass");
    let inertia = table.need_positive("inertia");
    let arm = table.need_positive("arm");
    table.finish();
    Some(Vehicle {
        mass,
        inertia: inertia?,
        arm: arm?,
    })
}
