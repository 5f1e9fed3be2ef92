//! What really happened.

/// A kind of disturbance, fault or odd motor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    WeakMotor,
    StrongMotor,
    WrongMotor,
    Burst,
    NozzleLost,
    Chuff,
    LateIgnition,
    IgniterPop,
    CrossTalk,
    ThermalHump,
    ZeroDrift,
    Lean,
    Step,
    Knock,
    WireBrokenBefore,
    WireBrokenInBurn,
    ConverterStuck,
    HardClip,
    SoftSaturation,
    StampsOff,
}

impl Kind {
    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Kind::WeakMotor => "weak motor",
            Kind::StrongMotor => "strong motor",
            Kind::WrongMotor => "wrong motor",
            Kind::Burst => "burst",
            Kind::NozzleLost => "nozzle lost",
            Kind::Chuff => "chuff",
            Kind::LateIgnition => "late ignition",
            Kind::IgniterPop => "igniter pop",
            Kind::CrossTalk => "cross-talk",
            Kind::ThermalHump => "thermal hump",
            Kind::ZeroDrift => "zero drift",
            Kind::Lean => "hand leaning",
            Kind::Step => "step",
            Kind::Knock => "knock",
            Kind::WireBrokenBefore => "wire broken before firing",
            Kind::WireBrokenInBurn => "wire broken in burn",
            Kind::ConverterStuck => "converter stuck at rail",
            Kind::HardClip => "hard clip",
            Kind::SoftSaturation => "soft saturation",
            Kind::StampsOff => "fire stamp after the burn",
        }
    }
}

/// One thing that was drawn: what, where (motor or cell), how large.
#[derive(Clone, Debug)]
pub struct Cause {
    /// Its kind.
    pub kind: Kind,
    /// Name of the motor or the cell; empty when it concerns the whole firing.
    pub at: String,
    /// In words, with numbers and units.
    pub detail: String,
}

impl Cause {
    pub(super) fn new(kind: Kind, at: &str, detail: String) -> Self {
        Self {
            kind,
            at: at.to_string(),
            detail,
        }
    }
}

/// One motor.
#[derive(Clone, Debug)]
pub struct MotorTruth {
    /// Its name in the firing file.
    pub name: String,
    /// The cell that carries it.
    pub cell: String,
    /// Whether its propellant burnt.
    pub lit: bool,
    /// First 5 % of its own peak, puff included, on the first log's clock.
    pub ignition_s: Option<f64>,
    /// Thrust alone, without a dead motor's igniter pop.
    pub impulse_ns: f64,
    /// What the igniter of a motor that did not light gave.
    pub pop_ns: f64,
    /// What its label promises.
    pub certified_ns: f64,
}

/// What all motors did together.
#[derive(Clone, Copy, Debug)]
pub struct Together {
    /// First and last time at 5 % of the peak, on the first log's clock.
    pub burn_s: (f64, f64),
    /// The largest thrust.
    pub peak_n: f64,
    /// Their impulse.
    pub impulse_ns: f64,
}

/// What really happened.
#[derive(Clone, Debug)]
pub struct Truth {
    /// All motors together; `None` where none lit.
    pub together: Option<Together>,
    /// Each motor.
    pub motors: Vec<MotorTruth>,
    /// Everything odd that was drawn.
    pub causes: Vec<Cause>,
}

impl Truth {
    /// Causes that may touch this motor's verdict: at the motor, at its cell, or of the whole firing.
    pub fn causes_of(&self, motor: &MotorTruth) -> impl Iterator<Item = &Cause> {
        let at = [motor.name.clone(), motor.cell.clone(), String::new()];
        self.causes.iter().filter(move |c| at.contains(&c.at))
    }
}
