//! Which humps of a record count: of those that overlap one, near ones as one firing, each in the light of the others.

use super::SURE;
use super::blocks::Blocks;
use super::hump::Hump;
use super::shape::{Judged, Other, judge};

/// Of overlapping humps, ten times the area is worth this much cost.
const WORTH_OF_TEN: f64 = 3.0;

/// ... and this much where somebody marked the burn: what was marked is all of it.
const WORTH_IN_WINDOW: f64 = 15.0;

/// A hump that holds another and so many times its area is another reading of the record ...
const MORE: f64 = 2.0;

/// ... that may stand where its costs are no higher by more than this.
const AS_WELL: f64 = 5.0;

/// Burns with less silence between them, s, may be one firing: igniters of one firing answer within a second or two,
/// and nobody walks up within five. Common practice, no source.
const FAR_APART_S: f64 = 5.0;

/// A burn that comes later belongs to the same firing when it has this share of the largest one's area and length.
const LATE_SHARE: f64 = 0.15;

/// What somebody says is a burn stands so many standard deviations of noise high.
const CHOSEN_SDS: f64 = 20.0;

/// ... and costs less than this: half a burn that touches something else is none, whoever says so.
const CHOSEN_COST: f64 = 13.0;

/// What is looked for.
#[derive(Clone, Copy)]
pub(super) struct Like {
    /// Several motors.
    pub together: bool,
    /// Somebody marked it.
    pub marked: bool,
}

impl Like {
    fn worth(self, (hump, judged): &(Hump, Judged)) -> f64 {
        let of_ten = if self.marked {
            WORTH_IN_WINDOW
        } else {
            WORTH_OF_TEN
        };
        of_ten * hump.area_ns.log10() - judged.cost
    }
}

/// Of humps that overlap the one that is worth most, in the order of time.
pub(super) fn kept(blocks: &Blocks, humps: Vec<Hump>, like: Like) -> Vec<(Hump, Judged)> {
    let mut out = Vec::new();
    beside(blocks, &mut out, humps, like);
    out
}

/// Adds humps that overlap none of those that were kept, and of one another none that is worth more.
pub(super) fn beside(
    blocks: &Blocks,
    kept: &mut Vec<(Hump, Judged)>,
    humps: Vec<Hump>,
    like: Like,
) {
    let mut all: Vec<(Hump, Judged)> = humps
        .into_iter()
        .map(|hump| {
            let judged = judge(blocks, &hump, like.together);
            (hump, judged)
        })
        .collect();
    all.sort_by(|a, b| like.worth(b).total_cmp(&like.worth(a)));
    question_parts(&mut all);
    for one in all {
        let free = |other: &(Hump, Judged)| {
            one.0.blocks.end <= other.0.blocks.start || other.0.blocks.end <= one.0.blocks.start
        };
        if kept.iter().all(free) {
            kept.push(one);
        }
    }
    kept.sort_by_key(|(hump, _)| hump.blocks.start);
}

/// Is less sure of a hump where a larger one that begins or ends with it may be the burn as well.
fn question_parts(all: &mut [(Hump, Judged)]) {
    let holds = |wider: &Hump, hump: &Hump| {
        let (outer, inner) = (&wider.blocks, &hump.blocks);
        wider.area_ns > MORE * hump.area_ns
            && ((outer.start == inner.start && outer.end >= inner.end)
                || (outer.end == inner.end && outer.start <= inner.start))
    };
    for at in 0..all.len() {
        let (hump, judged) = &all[at];
        let may_be_part = judged.confidence >= SURE
            && all
                .iter()
                .any(|(wider, other)| holds(wider, hump) && other.cost < judged.cost + AS_WELL);
        if may_be_part {
            all[at].1.goes_on();
        }
    }
}

/// Between two humps that are less than this apart, s, no rest stands above those on either side of both ...
const NO_REST_S: f64 = 1.0;

/// ... by more than this share of the height ...
const NO_REST: f64 = 0.04;

/// ... and so many times further than those are from one another: one of several motors burns there, already or still.
const NO_REST_TIMES: f64 = 4.0;

/// Makes one of humps between which something burns.
pub(super) fn bridge(blocks: &Blocks, kept: &mut Vec<(Hump, Judged)>) {
    let mut at = 1;
    while at < kept.len() {
        let (first, second) = (&kept[at - 1].0, &kept[at].0);
        let gap_s = blocks.time_s[second.blocks.start] - blocks.time_s[first.blocks.end - 1];
        let between = first.after.as_ref().zip(second.before.as_ref());
        let outer = first.before.as_ref().zip(second.after.as_ref());
        let stands = between
            .zip(outer)
            .is_some_and(|((after, before), (from, to))| {
                let least_n = after.level_n.min(before.level_n);
                let above_n = least_n - from.level_n.max(to.level_n);
                let apart_n = (from.level_n - to.level_n).abs();
                above_n > NO_REST * first.height_n.max(second.height_n)
                    && above_n > NO_REST_TIMES * apart_n
            });
        if stands && gap_s < NO_REST_S {
            let whole = Hump::between(blocks, first.before.clone(), second.after.clone());
            if let Some(whole) = whole {
                let judged = judge(blocks, &whole, true);
                kept[at - 1] = (whole, judged);
                kept.remove(at);
                continue;
            }
        }
        at += 1;
    }
}

/// Makes one of burns that are near to one another: what comes before the largest is a puff or an early motor, what
/// comes after it a late one if it is large enough.
pub(super) fn join(blocks: &Blocks, kept: &mut Vec<(Hump, Judged)>, together: bool) {
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
pub(super) fn beside_others(kept: &mut [(Hump, Judged)]) {
    let all: Vec<(f64, f64, f64)> = kept
        .iter()
        .map(|(hump, _)| (hump.area_ns, hump.height_n, hump.length_s))
        .collect();
    for (at, (hump, judged)) in kept.iter_mut().enumerate() {
        let others = all.iter().enumerate().filter(|(other, _)| *other != at);
        let others: Vec<Other> = others
            .map(|(_, (area_ns, height_n, length_s))| Other {
                area: area_ns / hump.area_ns,
                height: height_n / hump.height_n,
                length_s: *length_s,
            })
            .collect();
        judged.beside(&others);
    }
}

/// Takes the hump that is worth most for a burn, though one thing or another speaks against it, where none is one
/// surely.
pub(super) fn choose(kept: &mut [(Hump, Judged)], noise_n: f64, like: Like) {
    if kept.iter().any(|(_, judged)| judged.confidence >= SURE) {
        return;
    }
    let best = kept
        .iter_mut()
        .filter(|(hump, judged)| {
            hump.height_n > CHOSEN_SDS * noise_n && judged.bounded < CHOSEN_COST
        })
        .max_by(|a, b| like.worth(a).total_cmp(&like.worth(b)));
    if let Some((_, judged)) = best {
        judged.confidence = SURE;
    }
}
