//! Steering axes of the rig, and the free rocket their plant is carried over to.

use std::path::PathBuf;

use super::inertia;
use super::keys::{Key, Table, path, quantity, quantity_or_table, signal_of};
use super::signal::Signal;
use crate::diagnostic::{Located, Place};
use crate::quantity::range::Range;
use crate::quantity::{Angle, AngularRate, Given, Inertia, Length, Mass};

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

/// The keys of `[axis.NAME]`.
#[rustfmt::skip] // one key a line
pub(super) const KEYS: &[Key] = &[
    signal_of::<Angle>("command", "the computer's command").needed(),
    signal_of::<Angle>("nozzle", "measured nozzle angle"),
    signal_of::<Angle>("tilt", "measured tilt, such as the rig's encoder"),
    signal_of::<AngularRate>("rate", "measured tilt rate; a gyro may carry a bias"),
    quantity::<Angle>("travel", "mechanical limit of the nozzle, either side").range(Range::AboveUpTo(0.0, 90.0), "deg"),
    quantity::<Length>("arm", "rig pivot to nozzle swivel point").above_zero(),
    quantity_or_table::<Inertia>("inertia", inertia::KEYS, "moment of inertia of all that swings, about the rig pivot").above_zero(),
    quantity_or_table::<Inertia>("inertia_spent", inertia::KEYS, "the same at burnout; less by propellant times arm squared when absent").above_zero(),
    quantity::<Inertia>("frame_inertia", "the part of it that stays on the ground").not_below_zero(),
    quantity::<Length>("pivot_to_cg", "pivot to centre of gravity, positive when the centre of gravity is above"),
    quantity::<Mass>("swinging_mass", "mass of all that swings").above_zero(),
    path("sweep", "a sweep of the nozzle on the bench: points of command and angle, deg"),
    signal_of::<Angle>("swing", "tilt in a free swing of the loaded rig without thrust; its log may need no alignment"),
];

pub(super) fn read(table: &Table<'_>) -> Option<Axis> {
    Some(Axis {
        place: table.place(),
        command: Signal::read(table, "command")?,
        nozzle: Signal::read(table, "nozzle"),
        tilt: Signal::read(table, "tilt"),
        rate: Signal::read(table, "rate"),
        travel: table.quantity("travel"),
        arm: table.quantity("arm"),
        inertia: inertia::read(table, "inertia"),
        inertia_spent: inertia::read(table, "inertia_spent"),
        frame_inertia: table.quantity("frame_inertia"),
        pivot_to_cg: table.quantity("pivot_to_cg"),
        swinging_mass: table.quantity("swinging_mass"),
        swing: Signal::read(table, "swing"),
        sweep: table.path("sweep"),
    })
}

/// The keys of `[vehicle]`.
#[rustfmt::skip] // one key a line
pub(super) const VEHICLE: &[Key] = &[
    quantity::<Mass>("mass", "mass of the free rocket").above_zero(),
    quantity::<Inertia>("inertia", "moment of inertia about its own centre of gravity").above_zero().needed(),
    quantity::<Length>("arm", "centre of gravity to swivel point").above_zero().needed(),
];

pub(super) fn read_vehicle(table: &Table<'_>) -> Option<Vehicle> {
    Some(Vehicle {
        mass: table.quantity("mass"),
        inertia: table.quantity("inertia")?,
        arm: table.quantity("arm")?,
    })
}
