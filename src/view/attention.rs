//! What needs attention, chosen once for every renderer: what could not be done, what does not hold, what was noticed.
//!
//! What reads alike is told once, with everything it is of.

use super::findings::{Judged, worst_first};
use super::text::Text;
use super::{Page, Section};
use crate::finding::Outcome;

/// How much something matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Grade {
    /// It could not be done.
    Failed,
    /// It was judged, and does not hold.
    Judged(Outcome),
    /// It was noticed on the way.
    Noticed,
}

impl Grade {
    /// What stands before it.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Failed => "failed",
            Self::Judged(outcome) => outcome.word(),
            Self::Noticed => "warning",
        }
    }

    /// The outcome whose colour it has.
    pub(crate) const fn colour(self) -> Option<Outcome> {
        match self {
            Self::Failed => Some(Outcome::Fails),
            Self::Judged(outcome) => Some(outcome),
            Self::Noticed => None,
        }
    }

    const fn rank(self) -> u8 {
        match self {
            Self::Failed => 0,
            Self::Judged(outcome) => 1 + worst_first(outcome),
            Self::Noticed => u8::MAX,
        }
    }
}

/// Something that needs attention, by its content.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Attention {
    /// How much it matters.
    pub grade: Grade,
    /// What it says.
    pub says: Text,
    /// The same where there is little room: what it means, where the numbers do not say that.
    pub brief: Text,
    /// Whether the verdict tells it already.
    pub told: bool,
    /// What to know or do.
    pub advice: Option<Text>,
    /// What it is of, one or several.
    pub places: Vec<Place>,
}

/// One thing that something is said of.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Place {
    /// What it is; empty where there is only one.
    pub about: Text,
    /// The numbers of a finding there.
    pub numbers: Option<Text>,
    /// The section that tells it.
    pub section: String,
}

impl Attention {
    fn reads_as(&self, other: &Self) -> bool {
        let advice = match (&self.advice, &other.advice) {
            (Some(one), Some(two)) => one.reads_as(two),
            (one, two) => one.is_none() && two.is_none(),
        };
        let same = self.grade == other.grade && self.told == other.told;
        advice && same && self.says.reads_as(&other.says)
    }
}

/// The worst first; what reads alike once.
pub(super) fn sorted(all: impl IntoIterator<Item = Attention>) -> Vec<Attention> {
    let mut out: Vec<Attention> = Vec::new();
    for one in all {
        match out.iter_mut().find(|known| known.reads_as(&one)) {
            Some(known) => known.places.extend(one.places),
            None => out.push(one),
        }
    }
    out.sort_by_key(|one| one.grade.rank());
    out
}

/// The section of the findings on the firing as a whole.
pub(super) const WHOLE: &str = "findings";

impl Page {
    /// The same with what needs attention: what is in its sections, and whether the verdict tells it.
    pub(super) fn attended(mut self, told: impl Fn(&Judged) -> bool) -> Self {
        // What is said of the firing as a whole goes before what is said of a part.
        let all = || self.sections.iter().chain(&self.closing);
        let whole = |section: &&Section| section.id == WHOLE;
        let sections = || {
            all()
                .filter(whole)
                .chain(all().filter(move |one| !whole(one)))
        };
        let judged = sections().flat_map(|section| {
            let open = section.judged().filter(|one| one.outcome != Outcome::Holds);
            open.map(|one| judged(one, section, told(one)))
        });
        let noticed = sections().flat_map(|section| {
            section.noticed().map(|one| Attention {
                grade: Grade::Noticed,
                says: one.says.clone(),
                brief: one.says.clone(),
                told: false,
                advice: one.hint.clone(),
                places: vec![place(one.place.clone().unwrap_or_default(), section)],
            })
        });
        self.attention = sorted(judged.chain(noticed));
        self
    }
}

fn judged(one: &Judged, section: &Section, told: bool) -> Attention {
    let numbers = one.numbers.clone();
    Attention {
        grade: Grade::Judged(one.outcome),
        says: one.claim.clone(),
        brief: one.claim.clone(),
        told,
        advice: one.advice.clone(),
        places: vec![Place {
            numbers,
            ..place(one.about.clone(), section)
        }],
    }
}

fn place(about: Text, section: &Section) -> Place {
    Place {
        about,
        numbers: None,
        section: section.id.clone(),
    }
}
