//! A record split into rest, burns, ejection charges, knocks, handling: what a careful person would mark.
//!
//! ```text
//! readings -> block means -> pieces of one level -> humps between local rests -> judged -> burns, and what the rest is
//! ```
//!
//! - [`blocks`] averages, so that the cost does not depend on the rate; [`changes`] cuts at change points.
//! - [`hump`] reads the pieces as humps over local baselines, [`shape`] says how much each looks like a burn.
//! - Of humps that overlap one is kept; those that are surely burns, and near to one another, make one firing.
//!
//! Nothing is taken for a burn that is not surely one; where something else could be the burn as well, that is said
//! and the record stays undecided until a window chooses.

mod blocks;
mod changes;
mod hump;
mod report;
mod shape;
#[cfg(test)]
mod tests;

use std::ops::Range;

use serde::{Deserialize, Serialize};

use blocks::Blocks;
use hump::{Hump, Rest};
#[cfg(feature = "internals")]
pub use report::record_report;
pub use report::{RecordReport, SegmentReport};
pub(crate) use shape::Doubt;
use shape::{Judged, judge};

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

/// Of overlapping humps, ten times the area is worth this much cost.
const WORTH_OF_TEN: f64 = 3.0;

/// Burns with less silence between them, s, may be one firing: igniters of one firing answer within a second or two,
/// and nobody walks up within five. Common practice, no source.
const FAR_APART_S: f64 = 5.0;

/// A burn that comes later belongs to the same firing when it has this share of the largest one's area and length.
const LATE_SHARE: f64 = 0.15;

/// A load this many standard deviations of noise high is no drift of an idle cell: a cell that creeps while nothing
/// burns must not be refused.
pub(super) const PLAIN_SDS: f64 = 50.0;

/// What somebody says is a burn stands so many standard deviations of noise high.
const CHOSEN_SDS: f64 = 20.0;

/// Shorter than this, s, what stands high is a knock or an ejection charge.
const KNOCK_S: f64 = 0.15;

/// An ejection charge follows its burn within this time, s; longer delays are not made. From memory of delay times up to 14 s.
const EJECTION_S: f64 = 16.0;

/// What a segment of a record is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum SegmentKind {
    /// Nothing happens.
    Rest,
    /// A motor, or several, burn.
    Burn,
    /// It could be a burn or not.
    Unclear,
    /// A short thrust soon after a burn.
    Ejection,
    /// A short push.
    Knock,
    /// Somebody, or something slow, presses or pulls.
    Handling,
}

impl SegmentKind {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Rest => "rest",
            Self::Burn => "burn",
            Self::Unclear => "unclear",
            Self::Ejection => "ejection charge",
            Self::Knock => "knock",
            Self::Handling => "handling",
        }
    }
}

/// A part of a record.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Segment {
    /// What it is.
    pub kind: SegmentKind,
    /// When it begins, s.
    pub from_s: f64,
    /// When it ends, s.
    pub to_s: f64,
    /// Level of a rest, else height over the baseline, N.
    pub level_n: f64,
    /// Area over the baseline, N s; zero for a rest.
    pub area_ns: f64,
    /// Chance that it is a burn, 0 to 1.
    pub confidence: f64,
    /// What speaks against a burn, the weightiest first.
    pub doubts: Vec<Doubt>,
}

/// A burn, with the rests beside it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FoundBurn {
    /// First and last reading at or above the level of the burn rule, s.
    pub span_s: (f64, f64),
    /// The rest before it, s; `None` where the record begins within the burn.
    pub before_s: Option<(f64, f64)>,
    /// The rest after it, s; `None` where the record ends within the burn.
    pub after_s: Option<(f64, f64)>,
    /// Height over the baseline, N.
    pub height_n: f64,
    /// Area over the baseline, N s.
    pub area_ns: f64,
    /// Chance that it is a burn, 0 to 1.
    pub confidence: f64,
    /// What speaks against it, the weightiest first.
    pub doubts: Vec<Doubt>,
}

impl Segment {
    /// When, how large, and what speaks against a burn, in words.
    #[must_use]
    pub(crate) fn told(&self) -> String {
        let doubts: Vec<&str> = self.doubts.iter().map(|doubt| doubt.words()).collect();
        let against = if doubts.is_empty() {
            String::new()
        } else {
            format!(": {}", doubts.join(", "))
        };
        format!(
            "{:.2} s to {:.2} s ({:.3} N high{against})",
            self.from_s, self.to_s, self.level_n
        )
    }
}

impl FoundBurn {
    /// When, how large, and how surely, in words.
    #[must_use]
    pub(crate) fn told(&self) -> String {
        let ((from_s, to_s), area_ns) = (self.span_s, self.area_ns);
        let perhaps = if self.confidence < SURE {
            "perhaps "
        } else {
            ""
        };
        format!("{perhaps}{from_s:.2} s to {to_s:.2} s (about {area_ns:.3} N s)")
    }
}

/// What is known before a record is looked at.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Expected {
    /// Whether burns near to one another may be one firing, as with several motors.
    pub together: bool,
    /// The reading at rest that somebody stated, N.
    pub zero_n: Option<f64>,
    /// Somebody says that the burn is here: the likeliest hump is taken for it.
    pub chosen: bool,
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
    /// Splits a record.
    #[must_use]
    pub(crate) fn of(time_s: &[f64], load_n: &[f64], expected: &Expected) -> Self {
        if time_s.len() < 4 {
            return Self::default();
        }
        let blocks = Blocks::of(time_s, load_n);
        let changes = changes::changes(&blocks.mean_n, blocks.noise_n);
        let pieces = hump::pieces(&blocks, &changes);
        let whole = whole(&blocks, expected.zero_n);
        let mut humps = hump::humps(&blocks, &pieces);
        humps.extend(whole.clone().filter(|_| expected.zero_n.is_some()));
        let mut kept = kept(&blocks, humps, expected.together);
        join(&blocks, &mut kept, expected.together);
        beside_others(&mut kept);
        if expected.chosen {
            choose(&mut kept, blocks.noise_n);
        }
        // A record that is all burn must not be taken for what stands up in the middle of it.
        let largest = kept
            .iter()
            .filter(|(hump, _)| !hump.whole)
            .map(|(hump, _)| hump.area_ns)
            .fold(0.0, f64::max);
        let trimmed = expected.zero_n.is_none()
            && whole.is_some_and(|hump| {
                hump.area_ns > WHOLE_SHARE * largest
                    && judge(&blocks, &hump, expected.together).confidence >= SURE
            });
        Self {
            noise_n: blocks.noise_n,
            trimmed,
            burns: kept
                .iter()
                .filter(|(_, judged)| judged.confidence >= PERHAPS)
                .map(|(hump, judged)| burn(&blocks, time_s, load_n, hump, judged))
                .collect(),
            segments: segments(&blocks, &kept),
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

/// The whole record as one hump, over a stated zero or over the lower of its ends.
fn whole(blocks: &Blocks, zero_n: Option<f64>) -> Option<Hump> {
    let (first, last) = (blocks.mean_n.first()?, blocks.mean_n.last()?);
    Hump::over(blocks, zero_n.unwrap_or(first.min(*last)))
}

/// Of humps that overlap the one that is worth most, in the order of time.
fn kept(blocks: &Blocks, humps: Vec<Hump>, together: bool) -> Vec<(Hump, Judged)> {
    let mut all: Vec<(Hump, Judged)> = humps
        .into_iter()
        .map(|hump| {
            let judged = judge(blocks, &hump, together);
            (hump, judged)
        })
        .collect();
    all.sort_by(|a, b| worth(b).total_cmp(&worth(a)));
    let mut out: Vec<(Hump, Judged)> = Vec::new();
    for one in all {
        let free = |other: &(Hump, Judged)| {
            one.0.blocks.end <= other.0.blocks.start || other.0.blocks.end <= one.0.blocks.start
        };
        if out.iter().all(free) {
            out.push(one);
        }
    }
    out.sort_by_key(|(hump, _)| hump.blocks.start);
    out
}

/// Makes one of burns that are near to one another: what comes before the largest is a puff or an early motor, what
/// comes after it a late one if it is large enough.
fn join(blocks: &Blocks, kept: &mut Vec<(Hump, Judged)>, together: bool) {
    let mut at = 1;
    while at < kept.len() {
        let (first, second) = (&kept[at - 1], &kept[at]);
        let both = first.1.confidence >= SURE && second.1.confidence >= SURE;
        let gap_s = blocks.time_s[second.0.blocks.start] - blocks.time_s[first.0.blocks.end - 1];
        let puff = first.0.area_ns < LATE_SHARE * second.0.area_ns;
        let large = second.0.area_ns >= LATE_SHARE * first.0.area_ns
            && second.0.length_s >= LATE_SHARE * first.0.length_s;
        let near = gap_s <= if together { FAR_APART_S } else { 1.0 };
        if both && near && (puff || (large && together)) {
            let joined = Hump::between(blocks, first.0.before.clone(), second.0.after.clone());
            if let Some(joined) = joined {
                let judged = if first.1.cost > second.1.cost {
                    first.1.clone()
                } else {
                    second.1.clone()
                };
                kept[at - 1] = (joined, judged);
                kept.remove(at);
                continue;
            }
        }
        at += 1;
    }
}

/// Who sees other things of a like size in a record is less sure of each.
fn beside_others(kept: &mut [(Hump, Judged)]) {
    let areas: Vec<f64> = kept.iter().map(|(hump, _)| hump.area_ns).collect();
    for (at, (hump, judged)) in kept.iter_mut().enumerate() {
        let others = areas.iter().enumerate().filter(|(other, _)| *other != at);
        let times: Vec<f64> = others.map(|(_, area)| area / hump.area_ns).collect();
        judged.beside(&times);
    }
}

/// Rows of the burn of a made-up record, whatever its shape.
#[cfg(test)]
pub(crate) fn burn_rows(time_s: &[f64], load_n: &[f64]) -> Range<usize> {
    let expected = Expected {
        chosen: true,
        ..Expected::default()
    };
    let split = Segmentation::of(time_s, load_n, &expected);
    let (from_s, to_s) = split.sure().next().unwrap().span_s;
    time_s.partition_point(|time| *time < from_s)..time_s.partition_point(|time| *time <= to_s)
}

/// Takes the hump that is worth most for a burn, whatever else speaks against it, where none is one surely.
fn choose(kept: &mut [(Hump, Judged)], noise_n: f64) {
    if kept.iter().any(|(_, judged)| judged.confidence >= SURE) {
        return;
    }
    let best = kept
        .iter_mut()
        .filter(|(hump, _)| hump.height_n > CHOSEN_SDS * noise_n)
        .max_by(|a, b| worth(a).total_cmp(&worth(b)));
    if let Some((_, judged)) = best {
        judged.confidence = SURE;
    }
}

fn worth((hump, judged): &(Hump, Judged)) -> f64 {
    WORTH_OF_TEN * hump.area_ns.log10() - judged.cost
}

/// A hump as a burn of the record's own rows.
fn burn(
    blocks: &Blocks,
    time_s: &[f64],
    load_n: &[f64],
    hump: &Hump,
    judged: &Judged,
) -> FoundBurn {
    let rows_of = |range: &Range<usize>| blocks.row[range.start]..blocks.row[range.end];
    let rest = |rest: &Option<Rest>| {
        let rows = rows_of(&rest.as_ref()?.blocks);
        Some((time_s[rows.start], time_s[rows.end - 1]))
    };
    let coarse = rows_of(&hump.blocks);
    let high = |row: &usize| load_n[*row] >= hump.level_at_share(blocks, time_s[*row]);
    let first = coarse.clone().find(high).unwrap_or(coarse.start);
    let last = coarse.clone().rev().find(high).unwrap_or(coarse.end - 1);
    FoundBurn {
        span_s: (time_s[first], time_s[last]),
        before_s: rest(&hump.before),
        after_s: rest(&hump.after),
        height_n: hump.height_n,
        area_ns: hump.area_ns,
        confidence: judged.confidence,
        doubts: judged.doubts.clone(),
    }
}

/// All of a record: the humps that were kept, and the rest between them.
fn segments(blocks: &Blocks, kept: &[(Hump, Judged)]) -> Vec<Segment> {
    let mut out = Vec::new();
    let mut next = 0;
    let mut burnt_s = f64::NEG_INFINITY;
    for (hump, judged) in kept {
        rest(blocks, next..hump.blocks.start, &mut out);
        let (from_s, to_s) = (
            blocks.time_s[hump.blocks.start],
            blocks.time_s[hump.blocks.end - 1],
        );
        let kind = match judged.confidence {
            sure if sure >= SURE => SegmentKind::Burn,
            perhaps if perhaps >= PERHAPS => SegmentKind::Unclear,
            _ if hump.length_s <= KNOCK_S && from_s - burnt_s <= EJECTION_S => {
                SegmentKind::Ejection
            }
            _ if hump.length_s <= KNOCK_S => SegmentKind::Knock,
            _ => SegmentKind::Handling,
        };
        if kind == SegmentKind::Burn {
            burnt_s = to_s;
        }
        out.push(Segment {
            kind,
            from_s,
            to_s,
            level_n: hump.height_n,
            area_ns: hump.area_ns,
            confidence: judged.confidence,
            doubts: judged.doubts.clone(),
        });
        next = hump.blocks.end;
    }
    rest(blocks, next..blocks.len(), &mut out);
    out
}

fn rest(blocks: &Blocks, range: Range<usize>, out: &mut Vec<Segment>) {
    if range.is_empty() {
        return;
    }
    out.push(Segment {
        kind: SegmentKind::Rest,
        from_s: blocks.time_s[range.start],
        to_s: blocks.time_s[range.end - 1],
        level_n: crate::numeric::noise::median(&blocks.mean_n[range]).unwrap_or(0.0),
        area_ns: 0.0,
        confidence: 0.0,
        doubts: Vec::new(),
    });
}
