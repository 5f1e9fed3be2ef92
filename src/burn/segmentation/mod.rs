//! A record split into rest, burns, ejection charges, knocks, handling: what a careful person would mark.
//!
//! ```text
//! readings -> block means -> pieces of one level -> humps between local rests -> judged -> burns, and what the rest is
//! ```
//!
//! - [`blocks`] averages, so that the cost does not depend on the rate; [`changes`] cuts at change points.
//! - [`rest`] finds rests beside every top, [`hump`] measures what stands between two of them, [`shape`] says how much each looks like a burn.
//! - [`keep`] keeps one of humps that overlap; those that are surely burns, and near to one another, make one firing.
//! - [`segment`] says what each part of the record is, [`report`] how results hold it.
//!
//! Nothing is taken for a burn that is not surely one; where something else could be the burn as well, that is said
//! and the record stays undecided until a window chooses.

mod blocks;
mod changes;
mod hump;
mod keep;
mod report;
mod rest;
mod segment;
mod shape;
#[cfg(test)]
mod tests;

use blocks::Blocks;
use hump::Hump;
use keep::Like;
#[cfg(feature = "internals")]
pub use report::record_report;
pub use report::{RecordReport, SegmentReport};
pub use segment::SegmentKind;
pub(crate) use segment::{FoundBurn, Segment};
use shape::judge;

/// A hump is surely a burn from this confidence on.
const SURE: f64 = 0.965;

/// A hump may be a burn from this confidence on.
const PERHAPS: f64 = 0.05;

/// What may be a burn stands in the way of the largest one from this share of its area on.
const RIVAL: f64 = 0.25;

/// A record that as a whole has so many times the area of the largest burn in it is all burn.
const WHOLE_SHARE: f64 = 3.0;

/// What surely is a burn as well stands in the way from this share on: which of two like ones is meant nobody can tell.
const ALIKE: f64 = 0.7;

/// A load this many standard deviations of noise high is no drift of an idle cell: a cell that creeps while nothing
/// burns must not be refused.
pub(super) const PLAIN_SDS: f64 = 50.0;

/// What says which burn of a record it is.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) enum Chosen {
    /// The load alone.
    #[default]
    Load,
    /// A window in the firing file.
    Window,
    /// The pressure in the chamber.
    Pressure,
    /// The fire line or the current through the igniter.
    Fire,
}

/// What is known before a record is looked at.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Expected {
    /// Whether burns near to one another may be one firing, as with several motors.
    pub together: bool,
    /// The reading at rest that somebody stated, N.
    pub zero_n: Option<f64>,
    /// Somebody says that the burn lies within these times, s: the likeliest hump there is taken for it.
    pub window_s: Option<((f64, f64), Chosen)>,
}

/// A record, split.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Segmentation {
    /// All segments in the order of time.
    pub segments: Vec<Segment>,
    /// The burns, in the order of time; sure and unclear ones.
    pub burns: Vec<FoundBurn>,
    /// The whole record would be a burn, but has no rest on either side to see its zero by.
    pub trimmed: bool,
    /// Noise of a mean over some milliseconds, N.
    pub noise_n: f64,
    /// What says which burn it is.
    pub by: Chosen,
}

/// What the record shows.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Choice<'a> {
    /// One burn, surely; others may be there as well, and are smaller.
    Burn(&'a FoundBurn),
    /// Something that may be a burn: the likeliest, and what else could be.
    Unclear(Vec<&'a FoundBurn>),
    /// Nothing.
    Nothing,
}

impl Segmentation {
    /// Splits a record. A window says where the burn is; the rests beside it may lie outside.
    #[must_use]
    pub(crate) fn of(time_s: &[f64], load_n: &[f64], expected: &Expected) -> Self {
        match expected.window_s {
            None => Self::split(time_s, load_n, expected, None),
            Some((window_s, by)) => Self {
                by,
                ..Self::marked(time_s, load_n, expected, window_s)
            },
        }
    }

    /// Splits a record whose burn somebody has marked.
    fn marked(
        time_s: &[f64],
        load_n: &[f64],
        expected: &Expected,
        (from_s, to_s): (f64, f64),
    ) -> Self {
        let whole = Self::split(time_s, load_n, expected, Some((from_s, to_s)));
        if !whole.burns.is_empty() {
            return whole;
        }
        // Whoever cuts off what touches the burn says that nothing outside is rest.
        let rows = time_s.partition_point(|time| *time < from_s)
            ..time_s.partition_point(|time| *time <= to_s);
        let all_s = Some((f64::NEG_INFINITY, f64::INFINITY));
        let cut = Self::split(&time_s[rows.clone()], &load_n[rows], expected, all_s);
        if !cut.burns.is_empty() {
            return cut;
        }
        // What presses in the window must not pass for silence because the window cuts it.
        let touches = |one: &Segment| one.from_s < to_s && one.to_s > from_s;
        Self {
            segments: whole.segments.into_iter().filter(touches).collect(),
            noise_n: whole.noise_n,
            ..cut
        }
    }

    fn split(
        time_s: &[f64],
        load_n: &[f64],
        expected: &Expected,
        window_s: Option<(f64, f64)>,
    ) -> Self {
        if time_s.len() < 4 {
            return Self::default();
        }
        let blocks = Blocks::of(time_s, load_n);
        let changes = changes::changes(&blocks.mean_n, blocks.noise_n);
        let pieces = rest::pieces(&blocks, &changes);
        let whole = whole(&blocks, expected.zero_n);
        let mut humps = hump::humps(&blocks, &pieces);
        humps.extend(whole.clone().filter(|_| expected.zero_n.is_some()));
        let (inside, outside): (Vec<Hump>, Vec<Hump>) = humps
            .into_iter()
            .partition(|hump| window_s.is_none_or(|window_s| hump.lies_in(&blocks, window_s)));
        let like = Like {
            together: expected.together,
            marked: window_s.is_some(),
        };
        let mut kept = keep::kept(&blocks, inside, like);
        if expected.together {
            keep::bridge(&blocks, &mut kept);
        }
        keep::join(&blocks, &mut kept, expected.together);
        keep::beside_others(&mut kept);
        if window_s.is_some() {
            keep::choose(&mut kept, blocks.noise_n, like);
        }
        // A record that is all burn must not be taken for what stands up in the middle of it.
        let largest = kept
            .iter()
            .filter(|(hump, judged)| !hump.whole && judged.confidence >= PERHAPS)
            .map(|(hump, _)| hump.area_ns)
            .fold(0.0, f64::max);
        let trimmed = expected.zero_n.is_none()
            && whole.is_some_and(|hump| {
                hump.area_ns > WHOLE_SHARE * largest
                    && low_ends(&blocks, &hump) < LOW_SHARE
                    && judge(&blocks, &hump, expected.together).confidence >= SURE
            });
        let burns = kept
            .iter()
            .filter(|(_, judged)| judged.confidence >= PERHAPS)
            .map(|(hump, judged)| segment::burn(&blocks, time_s, load_n, hump, judged))
            .collect();
        keep::beside(&blocks, &mut kept, outside, like);
        Self {
            noise_n: blocks.noise_n,
            by: Chosen::Load,
            trimmed,
            burns,
            segments: segment::segments(&blocks, &kept),
        }
    }

    /// The part of the record that is nearer to a burn than to any other; `None` when there is no other.
    #[must_use]
    pub(crate) fn within_s(&self, burn: &FoundBurn) -> Option<(f64, f64)> {
        let (first, last) = (self.segments.first()?, self.segments.last()?);
        let before = self.burns.iter().rfind(|one| one.span_s.1 < burn.span_s.0);
        let after = self.burns.iter().find(|one| one.span_s.0 > burn.span_s.1);
        let from_s = before.map_or(first.from_s, |one| 0.5 * (one.span_s.1 + burn.span_s.0));
        let to_s = after.map_or(last.to_s, |one| 0.5 * (burn.span_s.1 + one.span_s.0));
        (before.is_some() || after.is_some()).then_some((from_s, to_s))
    }

    /// What may have pressed the stand: all that is, or may be, a burn, and handling that is no drift.
    pub(crate) fn pressed(&self) -> impl Iterator<Item = &Segment> {
        self.segments.iter().filter(|one| match one.kind {
            SegmentKind::Burn | SegmentKind::Unclear => true,
            SegmentKind::Handling => one.level_n > PLAIN_SDS * self.noise_n,
            SegmentKind::Rest | SegmentKind::Ejection | SegmentKind::Knock => false,
        })
    }

    /// What surely burns, in the order of time.
    pub(crate) fn sure(&self) -> impl Iterator<Item = &FoundBurn> {
        self.burns.iter().filter(|one| one.confidence >= SURE)
    }

    /// The burn that a careful person would mark.
    #[must_use]
    pub(crate) fn choice(&self) -> Choice<'_> {
        if self.trimmed {
            return Choice::Nothing;
        }
        let by_area = |a: &&FoundBurn, b: &&FoundBurn| a.area_ns.total_cmp(&b.area_ns);
        let Some(best) = self.sure().max_by(by_area) else {
            let mut all: Vec<&FoundBurn> = self.burns.iter().collect();
            all.sort_by(|a, b| b.confidence.total_cmp(&a.confidence));
            return if all.is_empty() {
                Choice::Nothing
            } else {
                Choice::Unclear(all)
            };
        };
        let share = |one: &FoundBurn| if one.confidence >= SURE { ALIKE } else { RIVAL };
        let rivals = self
            .burns
            .iter()
            .filter(|one| *one != best && one.area_ns > share(one) * best.area_ns);
        let rivals: Vec<&FoundBurn> = rivals.collect();
        if rivals.is_empty() {
            Choice::Burn(best)
        } else {
            Choice::Unclear(std::iter::once(best).chain(rivals).collect())
        }
    }
}

/// A record that is lower than a hump over all of it for this share of its length, at one of its ends, has a rest there:
/// what it lacks is the other one.
const LOW_SHARE: f64 = 0.2;

/// Share of a record that lies before a hump or behind it, whichever is more.
fn low_ends(blocks: &Blocks, hump: &Hump) -> f64 {
    let most = hump.blocks.start.max(blocks.len() - hump.blocks.end);
    most as f64 / blocks.len() as f64
}

/// The whole record as one hump, over a stated zero or over the lower of its ends.
fn whole(blocks: &Blocks, zero_n: Option<f64>) -> Option<Hump> {
    let (first, last) = (blocks.mean_n.first()?, blocks.mean_n.last()?);
    Hump::over(blocks, zero_n.unwrap_or(first.min(*last)))
}

/// Rows of the burn of a made-up record, whatever its shape.
#[cfg(test)]
pub(crate) fn burn_rows(time_s: &[f64], load_n: &[f64]) -> std::ops::Range<usize> {
    let expected = Expected {
        window_s: Some(((f64::NEG_INFINITY, f64::INFINITY), Chosen::Window)),
        ..Expected::default()
    };
    let split = Segmentation::of(time_s, load_n, &expected);
    let (from_s, to_s) = split.sure().next().unwrap().span_s;
    time_s.partition_point(|time| *time < from_s)..time_s.partition_point(|time| *time <= to_s)
}
