//! What is true of a drawn record: the answer sheet beside the readings.
//!
//! Times are seconds of the record's own clock. Forces called "as read" carry the sign the cell reads them with;
//! a firing's impulse and peak are those of the thrust itself and always positive.

/// How the record was drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Category {
    /// A burn with one or two disturbances.
    Few,
    /// A burn with three to seven disturbances.
    Several,
    /// A burn with next to no rest left on one side or both.
    Trimmed,
    /// No burn at all.
    WithoutBurn,
}

/// What a careful person would say of the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// At least one firing has no [`Doubt`]: it can be marked.
    Burn,
    /// Nothing burnt.
    NoBurn,
    /// Something burnt, but every firing has a doubt: finding it and not finding it are both right, a wrong window is not.
    CannotTell,
}

/// Why a careful person could not mark a firing. The rules are in `judge.rs`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// Fewer than four sound readings between start and end.
    TooFewReadings,
    /// Peak below eight standard deviations of the noise (white noise averaged over fifty readings where there are more), or
    /// three of what one reading has.
    Noise,
    /// The zero moves by more than 40 % of peak within one burn time of the burn.
    Drift,
    /// A hand, a tap or a weight of 15 % of peak or more during the burn or within a breath of it.
    Handling,
    /// A lone smooth push of like size and length whose onset looks as sharp as the burn's.
    LikePush,
    /// Fewer than eight sound readings, amid hands of a like size: too few to know a burn from a hand by its shape.
    LikeHandling,
    /// A burst with fewer than four readings of burning before it: it could be a knock.
    BareBurst,
    /// The stand rings by a quarter of peak just before the burn, or still half a burn time after it.
    Ringing,
    /// More than 40 % of the burn's rows are spikes, repeats, zeros or full scale.
    Spoiled,
    /// Fewer than three sound readings of the burn lie below full scale.
    Saturated,
}

/// The shape of a thrust curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Family {
    /// Flat.
    Neutral,
    /// Rising to burnout.
    Progressive,
    /// Falling to burnout.
    Regressive,
    /// A high level, then a low one.
    BoostSustain,
    /// A sharp peak early, then a plateau, as black-powder motors have.
    SpikyStart,
    /// A level, then a long exponential decay.
    LongTail,
    /// One to four chuffs before the motor lights.
    Chuffing,
}

/// One burn.
#[derive(Clone, Debug, PartialEq)]
pub struct Firing {
    /// First moment at 5 % of peak thrust, chuffs included, an igniter's pop not.
    pub start: f64,
    /// Last moment at 5 % of peak thrust.
    pub end: f64,
    /// Earliest and latest start a careful person could set: noise, shift, cut tops, replaced rows and the rate allowed for.
    pub start_between: (f64, f64),
    /// The same of the end; the stand's ringing is allowed for too.
    pub end_between: (f64, f64),
    /// Starts that can be defended as well: after the chuffs, at the igniter's pop, at 5 % of the level before a burst.
    pub other_starts: Vec<f64>,
    /// Ends that can be defended as well: before a burst.
    pub other_ends: Vec<f64>,
    /// Impulse of the whole thrust curve, N s.
    pub impulse: f64,
    /// Impulse from start to end, N s.
    pub impulse_in_window: f64,
    /// Peak thrust, N: of the thrust, before the stand rings or full scale cuts it.
    pub peak: f64,
    /// What readings of this rate without noise sum to, N s.
    pub impulse_read: f64,
    /// Largest force felt at a reading, N: after stand and averaging, before noise and full scale.
    pub peak_read: f64,
    /// When the peak is.
    pub peak_time: f64,
    /// Shape of the curve.
    pub family: Family,
    /// Moment of a burst (CATO), if there is one.
    pub burst: Option<f64>,
    /// Zero as read at the start: what the cell would read without thrust, noise or hands.
    pub zero_before: f64,
    /// Zero as read when thrust has ended altogether.
    pub zero_after: f64,
    /// Rows between start and end.
    pub readings: usize,
    /// How many of these are spikes, repeats, zeros or stuck at full scale.
    pub spoiled: usize,
    /// How many sound ones are cut off at full scale.
    pub clipped: usize,
    /// Part of the firing lies outside the record.
    pub cut: bool,
    /// Why a careful person could not mark it; empty if one could.
    pub doubts: Vec<Doubt>,
}

impl Firing {
    /// A careful person could mark this firing.
    pub fn can_be_marked(&self) -> bool {
        self.doubts.is_empty()
    }

    /// A careful person could have set this window.
    pub fn accepts(&self, start: f64, end: f64) -> bool {
        let within = |t: f64, range: (f64, f64), others: &[f64], given: f64| {
            let moved = others
                .iter()
                .map(|other| (range.0 + other - given, range.1 + other - given));
            std::iter::once(range)
                .chain(moved)
                .any(|(from, to)| t >= from && t <= to)
        };
        within(start, self.start_between, &self.other_starts, self.start)
            && within(end, self.end_between, &self.other_ends, self.end)
    }

    /// The readings still hold the impulse: nothing cut off, no burst, at most a tenth of the rows spoiled.
    pub fn holds_impulse(&self) -> bool {
        self.clipped == 0
            && !self.cut
            && self.burst.is_none()
            && self.readings >= 4
            && self.spoiled * 10 <= self.readings
    }
}

/// What disturbs the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Rows of one or two readings that no force made.
    Spikes,
    /// A run of one and the same reading, as from a buffer sent again.
    IdenticalRun,
    /// Readings stuck at full scale.
    FullScaleRun,
    /// A run of zeros.
    ZeroRun,
    /// The zero after the burn is not the zero before.
    ZeroShift,
    /// The zero moves slowly.
    Drift,
    /// The amplifier warms up.
    WarmUp,
    /// The cell is heated by the burn and cools.
    ThermalHump,
    /// Hands on the stand before the burn.
    HandlingBefore,
    /// Hands on the stand after the burn.
    HandlingAfter,
    /// One smooth push and nothing else.
    LonePush,
    /// Knocks.
    Taps,
    /// The motor is put on the stand: a step in weight.
    Loading,
    /// The motor or the rig is taken off.
    Removal,
    /// Ejection charge.
    Ejection,
    /// A second firing.
    SecondFiring,
    /// The igniter's pop.
    IgniterPop,
    /// Thrust goes beyond full scale.
    Saturated,
    /// The motor bursts (CATO).
    Burst,
    /// The stand rings.
    Ringing,
    /// Rows are missing.
    Hole,
    /// Mains hum.
    Hum,
    /// The tare of the instrument hunts.
    TareHunting,
    /// A square wave from a faulty wire.
    SquareWave,
}

/// A disturbance and when it was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Disturbance {
    /// What it is.
    pub kind: Kind,
    /// When it begins.
    pub start: f64,
    /// When it ends.
    pub end: f64,
    /// Its largest size as read, N (standard deviation for hum; Hz for ringing; seconds for a hole).
    pub size: f64,
}

/// Where rows are replaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Away from any burn.
    Rest,
    /// Within three readings of a start or an end.
    Edge,
    /// Inside a burn.
    Burn,
    /// In the last two fifths of the record.
    Late,
}

/// Rows that were replaced.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Replaced {
    /// What was put there: `Spikes`, `IdenticalRun`, `FullScaleRun` or `ZeroRun`.
    pub kind: Kind,
    /// First row.
    pub row: usize,
    /// How many rows.
    pub rows: usize,
    /// Where.
    pub place: Place,
    /// Largest departure from what should have been read, N.
    pub size: f64,
}

/// Ejection charge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ejection {
    /// When it fires.
    pub start: f64,
    /// When it is over.
    pub end: f64,
    /// Its largest force as read, N.
    pub size: f64,
}

/// The stand as a lightly damped oscillator.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ringing {
    /// Natural frequency, Hz.
    pub frequency: f64,
    /// Quality factor.
    pub quality: f64,
    /// Whether the maker knows and states it.
    pub stated: bool,
}

/// Rest readings left by a trim; negative where the cut is inside the burn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Trim {
    /// Before the start, if that side is trimmed.
    pub before: Option<i32>,
    /// After the end, if that side is trimmed.
    pub after: Option<i32>,
}

/// The answer sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// How the record was drawn.
    pub category: Category,
    /// What a careful person would say.
    pub verdict: Verdict,
    /// The burn, the first one where there are two.
    pub burn: Option<Firing>,
    /// A second firing.
    pub second: Option<Firing>,
    /// Sign with which thrust is read: 1 or -1.
    pub sign: f64,
    /// Ejection charge.
    pub ejection: Option<Ejection>,
    /// All disturbances with their times.
    pub disturbances: Vec<Disturbance>,
    /// Rows replaced, in order.
    pub replaced: Vec<Replaced>,
    /// The trim, if there was one.
    pub trim: Option<Trim>,
    /// The stand's ringing.
    pub ringing: Option<Ringing>,
    /// Standard deviation of all noise with the converter's step, N.
    pub noise_sd: f64,
    /// The converter's step, N.
    pub quantum: f64,
    /// Readings per second, nominal.
    pub rate: f64,
    /// Largest reading possible in the direction of thrust, as read, where it is met.
    pub full_scale: Option<f64>,
    /// Zero as read in the first row.
    pub zero_first: f64,
    /// Zero as read in the last row, weights put on or taken off included.
    pub zero_last: f64,
    /// A log set to zero before firing: within 1 % of peak.
    pub tared: bool,
}

impl Truth {
    /// The burn and the second firing, in order of time.
    pub fn firings(&self) -> impl Iterator<Item = &Firing> {
        self.burn.iter().chain(self.second.iter())
    }

    pub(crate) fn shift_clock(&mut self, offset: f64) {
        for firing in self.burn.iter_mut().chain(&mut self.second) {
            let Firing {
                start,
                end,
                start_between: a,
                end_between: b,
                peak_time,
                other_starts,
                other_ends,
                burst,
                ..
            } = firing;
            let times = [
                start, end, peak_time, &mut a.0, &mut a.1, &mut b.0, &mut b.1,
            ]
            .into_iter()
            .chain(other_starts)
            .chain(other_ends)
            .chain(burst);
            times.for_each(|t| *t += offset);
        }
        let disturbances = self
            .disturbances
            .iter_mut()
            .map(|d| (&mut d.start, &mut d.end));
        let ejection = self.ejection.iter_mut().map(|e| (&mut e.start, &mut e.end));
        for (start, end) in disturbances.chain(ejection) {
            *start += offset;
            *end += offset;
        }
    }
}
