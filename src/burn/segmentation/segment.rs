//! The parts of a record: its segments, and its burns with the rests beside them.

use std::ops::Range;

use serde::{Deserialize, Serialize};

use super::blocks::Blocks;
use super::hump::Hump;
use super::rest::Rest;
use super::shape::{Doubt, Judged};
use super::{PERHAPS, SURE};
use crate::numeric::noise;

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

/// A hump as a burn of the record's own rows.
pub(super) fn burn(
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
pub(super) fn segments(blocks: &Blocks, kept: &[(Hump, Judged)]) -> Vec<Segment> {
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
        level_n: noise::median(&blocks.mean_n[range]).unwrap_or(0.0),
        area_ns: 0.0,
        confidence: 0.0,
        doubts: Vec::new(),
    });
}
