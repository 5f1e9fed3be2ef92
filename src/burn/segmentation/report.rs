//! What a record shows, as results hold it.

use serde::{Deserialize, Serialize};

#[cfg(feature = "internals")]
use super::Expected;
use super::{Choice, Chosen, SegmentKind, Segmentation};
#[cfg(feature = "internals")]
use crate::{log::outlier, series::Series};

/// What the load of all cells shows, from its first reading to its last.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct RecordReport {
    /// Why the burn that was reduced is the one, or why none is.
    pub chosen: String,
    /// Its segments in the order of time.
    pub segments: Vec<SegmentReport>,
}

/// A segment of a record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct SegmentReport {
    /// What it is taken for.
    pub kind: SegmentKind,
    /// When it begins, s on the first log's clock.
    pub from_s: f64,
    /// When it ends, s.
    pub to_s: f64,
    /// Height over the rests beside it, N; of a rest its level.
    pub level_n: f64,
    /// Rough area over the rests beside it, N s; 0 for a rest.
    pub area_ns: f64,
    /// Chance that it is a burn.
    #[cfg_attr(test, schemars(range(min = 0.0, max = 1.0)))]
    pub confidence: f64,
    /// What speaks against a burn, the weightiest first.
    pub doubts: Vec<String>,
    /// Whether it is the burn that was reduced, or a part of it.
    pub reduced: bool,
}

/// What a record of some readings shows, outliers left out: for studies of the segmentation alone.
#[cfg(feature = "internals")]
#[must_use]
pub fn record_report(time_s: &[f64], load_n: &[f64]) -> Option<RecordReport> {
    let (kept, _) = outlier::separate(&Series::new(time_s, load_n));
    Segmentation::of(kept.time_s(), kept.value(), &Expected::default()).report()
}

impl Segmentation {
    /// As results hold it; `None` where there is no record.
    #[must_use]
    pub(crate) fn report(&self) -> Option<RecordReport> {
        let choice = self.choice();
        let span_s = match &choice {
            Choice::Burn(burn) => Some(burn.span_s),
            Choice::Unclear(_) | Choice::Nothing => None,
        };
        let reduced = |from_s: f64, to_s: f64, kind: SegmentKind| {
            kind != SegmentKind::Rest
                && span_s.is_some_and(|(first_s, last_s)| from_s < last_s && to_s > first_s)
        };
        let segments: Vec<SegmentReport> = self
            .segments
            .iter()
            .map(|one| SegmentReport {
                kind: one.kind,
                from_s: one.from_s,
                to_s: one.to_s,
                level_n: one.level_n,
                area_ns: one.area_ns,
                confidence: one.confidence,
                doubts: one
                    .doubts
                    .iter()
                    .map(|doubt| doubt.words().to_owned())
                    .collect(),
                reduced: reduced(one.from_s, one.to_s, one.kind),
            })
            .collect();
        let chosen = match choice {
            Choice::Burn(burn) => match self.by {
                Chosen::Window => "the likeliest in the window",
                Chosen::Pressure => "the one that the pressure in the chamber shows",
                Chosen::Fire => "the one that follows the fire command",
                Chosen::Load if self.burns.len() > 1 => "the largest of what burns",
                Chosen::Load if !burn.doubts.is_empty() => "the only burn, with doubts",
                Chosen::Load => "the only burn",
            },
            Choice::Unclear(_) => {
                "none: it is not sure which of several is the burn, or whether one is"
            }
            Choice::Nothing if self.trimmed => {
                "none: the record is all burn, so its zero is not known"
            }
            Choice::Nothing => "none: nothing looks like a burn",
        };
        (!segments.is_empty()).then(|| RecordReport {
            chosen: chosen.to_owned(),
            segments,
        })
    }
}
