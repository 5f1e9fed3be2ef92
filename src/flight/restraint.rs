//! What keeps an axis from moving: a clamp, and dry friction.
//!
//! Dry friction is taken in the sense of Filippov (Differential Equations with Discontinuous Righthand
//! Sides, 1988): an axis at rest stays at rest while the other torques are no larger than the friction,
//! and a step in which the rate changes sign is cut at that instant.

/// The restraint of one axis.
#[derive(Debug, Clone)]
pub(crate) struct Restraint {
    /// Dry friction, rad/s2.
    coulomb_rad_s2: f64,
    /// Whether a clamp holds it.
    pub clamped: bool,
    /// Which way it moves in this step, dry friction acting against it; 0 when it stands still.
    heading: f64,
    stuck: bool,
}

impl Restraint {
    /// Dry friction alone.
    pub(crate) fn new(coulomb_rad_s2: f64) -> Self {
        Self {
            coulomb_rad_s2,
            clamped: false,
            heading: 0.0,
            stuck: true,
        }
    }

    /// Whether there is any dry friction.
    pub(crate) fn rubs(&self) -> bool {
        self.coulomb_rad_s2 > 0.0
    }

    /// Whether the axis stands still whatever else acts on it.
    #[inline]
    pub(crate) fn holds(&self) -> bool {
        self.clamped || self.stuck && self.rubs()
    }

    /// Angular acceleration left of one without restraint, rad/s2, for an axis that is free to move.
    #[inline]
    pub(crate) fn slowed(&self, acceleration_rad_s2: f64) -> f64 {
        acceleration_rad_s2 - self.coulomb_rad_s2 * self.heading
    }

    /// Decides which way dry friction acts in the step to come.
    pub(crate) fn choose_heading(&mut self, rate_rad_s: f64, acceleration_rad_s2: f64) {
        (self.heading, self.stuck) = if rate_rad_s != 0.0 {
            (rate_rad_s.signum(), false)
        } else if self.rubs() && acceleration_rad_s2.abs() <= self.coulomb_rad_s2 {
            (0.0, true)
        } else {
            (acceleration_rad_s2.signum(), false)
        };
    }

    /// At which share of a step the rate changes its sign, if it does.
    pub(crate) fn reversal(&self, before_rad_s: f64, after_rad_s: f64) -> Option<f64> {
        let moves = self.rubs() && !self.clamped && !self.stuck;
        let turned = before_rad_s != 0.0 && after_rad_s * self.heading < 0.0;
        (moves && turned).then(|| before_rad_s / (before_rad_s - after_rad_s))
    }

    /// The axis has come to rest.
    pub(crate) fn stop(&mut self) {
        self.stuck = true;
    }
}
