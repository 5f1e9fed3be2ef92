//! Does a hump look like a burn? What a careful person looks at, each as a penalty in one currency.
//!
//! Every question has a limit up to which the answer costs nothing, and beyond it costs the square of the excess over
//! a scale: as minus the logarithm of a likelihood whose top is flat. The sum is turned into a confidence by the
//! logistic function. Limits and scales are common practice, no source; what they are worth is measured by a study over
//! records drawn by another program (docs/segmentation.md), not argued.

use super::blocks::Blocks;
use super::hump::Hump;
use super::rest::Rest;
use crate::numeric::noise;

/// What speaks against a hump being a burn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Doubt {
    /// The zero after it is far from the zero before it.
    ZeroMoves,
    /// It falls below its baseline.
    FallsBelow,
    /// It is a peak and little else.
    MostlyPeak,
    /// It stands still at its top, as a weight does.
    StandsStill,
    /// It goes up and down many times.
    RisesOften,
    /// It stops in between.
    Pauses,
    /// Something else stands beside it before the record rests.
    NotAlone,
    /// It rises slowly, as a push or a drift does.
    RisesSlowly,
    /// The record does not rest quietly beside it.
    RestlessBeside,
    /// Something else happens shortly before or after it.
    Restless,
    /// The record has no rest on one side of it.
    OneSided,
    /// The record begins or ends within it.
    CutOff,
    /// The record begins and ends about as high as its top: it is what lies between two others, seen upside down.
    BetweenHigher,
    /// The record holds other things of a like size.
    OthersLikeIt,
    /// What follows, or went before, may belong to it.
    GoesOn,
    /// It is too short for a burn.
    TooShort,
    /// It is too long for a burn.
    TooLong,
    /// It hardly stands out of the noise.
    Faint,
    /// It holds too few readings.
    FewReadings,
}

impl Doubt {
    /// What was seen, in words.
    #[must_use]
    pub(crate) const fn words(self) -> &'static str {
        match self {
            Self::ZeroMoves => "the zero after it is far from the zero before it",
            Self::FallsBelow => "it falls below its zero",
            Self::MostlyPeak => "it is a peak and little else",
            Self::StandsStill => "it stands still at its top, as a weight does",
            Self::Pauses => "it stops in between",
            Self::CutOff => "the record begins or ends within it",
            Self::BetweenHigher => "the record begins and ends as high",
            Self::RisesOften => "it rises and falls many times",
            Self::NotAlone => "something else stands beside it",
            Self::RisesSlowly => "it rises slowly, as a push does",
            Self::RestlessBeside => "the record does not rest beside it",
            Self::Restless => "something else happens shortly before or after it",
            Self::OneSided => "there is too little rest beside it",
            Self::OthersLikeIt => "the record holds other things of a like size",
            Self::GoesOn => "what stands beside it may belong to it",
            Self::TooShort => "it is too short",
            Self::TooLong => "it is too long",
            Self::Faint => "it hardly stands out of the noise",
            Self::FewReadings => "it holds too few readings",
        }
    }
}

/// One question: how far beyond its limit, in scales.
struct Cost {
    doubt: Doubt,
    cost: f64,
}

impl Cost {
    /// A real burn may do one strange thing; that a record cuts it off is none of its own, and how long a motor burns
    /// is best known by who says when.
    fn bounded(&self) -> f64 {
        match self.doubt {
            Doubt::CutOff => self.cost,
            Doubt::TooLong => self.cost.min(LONG_BOUND),
            _ => self.cost.min(BOUND),
        }
    }
}

fn beyond(doubt: Doubt, value: f64, limit: f64, scale: f64) -> Cost {
    Cost {
        doubt,
        cost: ((value - limit) / scale).max(0.0).powi(2),
    }
}

/// Home-made motors may rise slowly too: alone that does not make a hump doubtful, beside others like it it does.
const SLOW_ALONE: f64 = 2.1;

/// Others are like a hump from this share of its area on.
const OTHERS_FROM: f64 = 0.2;

/// What is low beside a hump is not like it, however long it lasts: its height counts so many times.
const HEIGHT_COUNTS: f64 = 2.0;

/// Who leaves a stand alone leaves little that is higher than this beside a burn.
const NOT_LOW: f64 = 0.1;

/// From these shares of height and area on, and from this length on, s, something is as high as a slow hump.
const AS_HIGH: f64 = 0.35;
const AS_HIGH_AREA: f64 = 0.04;
const SHORT_S: f64 = 0.12;

/// Confidence at no doubt at all, as a logarithm of odds.
const CERTAIN: f64 = 6.0;

/// One answer costs this much at most where somebody says that a hump is the burn.
const BOUND: f64 = 8.0;

/// The same of a burn that lasts long.
const LONG_BOUND: f64 = 2.0;

/// A larger hump about the same top that may be a burn costs this much: more than what is surely one may.
const GOES_ON: f64 = 3.0;

/// A doubt that costs this much is told.
const TOLD: f64 = 1.0;

/// How a hump is judged.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Judged {
    /// The sum of all costs.
    pub cost: f64,
    /// The same, where no answer alone costs much: a real burn may do one strange thing.
    pub bounded: f64,
    /// What a slow rise costs besides where others are like it.
    slow: f64,
    /// Chance that it is a burn, 0 to 1.
    pub confidence: f64,
    /// What speaks against it, the weightiest first.
    pub doubts: Vec<Doubt>,
}

/// Another hump of the record beside one: its area and height in those of that one, and its length, s.
pub(super) struct Other {
    pub area: f64,
    pub height: f64,
    pub length_s: f64,
}

fn confidence(cost: f64) -> f64 {
    1.0 / (1.0 + (cost - CERTAIN).exp())
}

impl Judged {
    /// Another reading of the record, which holds this hump and more, may be the burn as well.
    pub(super) fn goes_on(&mut self) {
        self.cost += GOES_ON;
        self.confidence = confidence(self.cost);
        self.doubts.push(Doubt::GoesOn);
    }

    /// Judges a hump in the light of the others of its record: how many times its area and its height they have, and
    /// how long they last.
    pub(super) fn beside(&mut self, others: &[Other]) {
        let alike = |other: &Other| other.area.min(HEIGHT_COUNTS * other.height);
        let many = others.iter().filter(|one| alike(one) > OTHERS_FROM).count();
        let times = others.iter().map(alike).fold(0.0, f64::max);
        // Beside a slow one, what is as high stands in doubt too, though it be short.
        let as_high = others.iter().any(|one| {
            one.height >= AS_HIGH && one.area >= AS_HIGH_AREA && one.length_s >= SHORT_S
        });
        let slow = if as_high {
            1.0
        } else {
            (times / OTHERS_FROM - 1.0).clamp(0.0, 1.0)
        };
        let mut cost = beyond(Doubt::OthersLikeIt, times.min(1.0), OTHERS_FROM, 0.5);
        cost.cost += beyond(Doubt::OthersLikeIt, many as f64, 3.0, 1.5).cost;
        let high = others.iter().filter(|one| one.height > NOT_LOW).count();
        cost.cost += beyond(Doubt::OthersLikeIt, high as f64, 4.0, 1.5).cost;
        cost.cost += beyond(Doubt::OthersLikeIt, times.ln(), 5.0_f64.ln(), 0.7).cost;
        self.cost += cost.cost + self.slow * slow;
        self.confidence = confidence(self.cost);
        if cost.cost >= TOLD {
            self.doubts.push(cost.doubt);
        }
    }
}

/// How high the record stands where it begins and where it ends, whichever is lower, over a hump's rests, as a share of
/// its height. A cell that is pulled turns two burns into plateaus and the pause between them into a hump.
fn ends(blocks: &Blocks, hump: &Hump) -> f64 {
    let (Some(before), Some(after)) = (&hump.before, &hump.after) else {
        return 0.0;
    };
    let level_n = |end: Option<&[f64; 5]>| {
        let level_n = end.and_then(|end| noise::median(end));
        level_n.unwrap_or(f64::NEG_INFINITY)
    };
    let first_n = level_n(blocks.mean_n.first_chunk());
    let last_n = level_n(blocks.mean_n.last_chunk());
    (first_n - before.level_n).min(last_n - after.level_n) / hump.height_n
}

/// Judges a hump; `together` tells whether it may be several motors.
pub(super) fn judge(blocks: &Blocks, hump: &Hump, together: bool) -> Judged {
    // Motors that light late, or burn out early, add steps and pauses.
    let (turns, pause) = if together { (2.4, 0.6) } else { (1.2, 0.03) };
    let noise = blocks.noise_n / hump.height_n;
    let scatter = |rest: &Option<Rest>| rest.as_ref().map_or(0.0, |one| one.sd_n / hump.height_n);
    // A rest should last a fair part of the hump; what is asked for is bounded by a second.
    let short = |rest: &Option<Rest>| {
        if hump.whole {
            return 0.0;
        }
        let asked_s = (0.5 * hump.length_s).clamp((2.0 * hump.length_s).min(0.5), 1.0);
        rest.as_ref()
            .map_or(1.0, |one| (1.0 - one.length_s / asked_s).max(0.0))
    };
    let area_to_noise =
        hump.fill * (hump.blocks.len() as f64).sqrt() / noise.max(f64::MIN_POSITIVE);
    let slow = beyond(Doubt::RisesSlowly, -hump.rise.ln(), -(5.5_f64.ln()), 0.25);
    let costs = [
        beyond(Doubt::ZeroMoves, hump.shift.abs(), 0.12, 0.08),
        beyond(Doubt::FallsBelow, hump.below, 0.02, 0.05),
        beyond(Doubt::MostlyPeak, -hump.fill, -0.33, 0.07),
        beyond(Doubt::StandsStill, hump.fill, 0.94, 0.012),
        beyond(Doubt::RisesOften, hump.turns, turns, 0.17),
        beyond(Doubt::Pauses, hump.pause_s / hump.length_s, pause, 0.08),
        beyond(Doubt::NotAlone, hump.around, 0.04, 0.05),
        Cost {
            cost: slow.cost.min(SLOW_ALONE),
            ..slow
        },
        beyond(
            Doubt::RestlessBeside,
            scatter(&hump.before).max(scatter(&hump.after)),
            0.04,
            0.04,
        ),
        beyond(
            Doubt::OneSided,
            short(&hump.before) + short(&hump.after),
            0.3,
            0.35,
        ),
        beyond(Doubt::CutOff, hump.cut, 0.08, 0.04),
        beyond(Doubt::BetweenHigher, ends(blocks, hump), 0.5, 0.05),
        beyond(Doubt::StandsStill, hump.stuck, 0.3, 0.1),
        beyond(Doubt::Restless, hump.restless, 0.5, 0.5),
        beyond(Doubt::TooShort, -hump.length_s.ln(), -(0.13_f64.ln()), 0.3),
        beyond(Doubt::TooLong, hump.length_s.ln(), 15.0_f64.ln(), 0.2),
        beyond(Doubt::Faint, -area_to_noise.ln(), -(30.0_f64.ln()), 0.5),
        beyond(Doubt::FewReadings, -(hump.count as f64), -7.0, 1.5),
    ];
    let cost: f64 = costs.iter().map(|one| one.cost).sum();
    let mut told: Vec<&Cost> = costs.iter().filter(|one| one.cost >= TOLD).collect();
    told.sort_by(|a, b| b.cost.total_cmp(&a.cost));
    Judged {
        cost,
        bounded: costs.iter().map(Cost::bounded).sum(),
        slow: (slow.cost - SLOW_ALONE).max(0.0),
        confidence: confidence(cost),
        doubts: told.into_iter().map(|one| one.doubt).collect(),
    }
}
