//! Which humps of a record count: of those that overlap one, near ones as one firing, each in the light of the others.

use super::SURE;
use super::blocks::Blocks;
use super::hump::Hump;
use super::shape::{Judged, judge};

/// Of overlapping humps, ten times the area is worth this much cost.
const WORTH_OF_TEN: f64 = 3.0;

/// Burns with less silence between them, s, may be one firing: igniters of one firing answer within a second or two,
/// and nobody walks up within five. Common practice, no source.
const FAR_APART_S: f64 = 5.0;

/// A burn that comes later belongs to the same firing when it has this share of the largest one's area and length.
const LATE_SHARE: f64 = 0.15;

/// What somebody says is a burn stands so many standard deviations of noise high.
const CHOSEN_SDS: f64 = 20.0;

/// ... and costs less than this: half a burn that touches something else is none, whoever says so.
const CHOSEN_COST: f64 = 11.0;

/// Of humps that overlap the one that is worth most, in the order of time.
pub(super) fn kept(blocks: &Blocks, humps: Vec<Hump>, together: bool) -> Vec<(Hump, Judged)> {
    let mut out = Vec::new();
    beside(blocks, &mut out, humps, together);
    out
}

/// Adds humps that overlap none of those that were kept, and of one another none that is worth more.
pub(super) fn beside(
    blocks: &Blocks,
    kept: &mut Vec<(Hump, Judged)>,
    humps: Vec<Hump>,
    together: bool,
) {
    let mut all: Vec<(Hump, Judged)> = humps
        .into_iter()
        .map(|hump| {
            let judged = judge(blocks, &hump, together);
            (hump, judged)
        })
        .collect();
    all.sort_by(|a, b| worth(b).total_cmp(&worth(a)));
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
    let areas: Vec<f64> = kept.iter().map(|(hump, _)| hump.area_ns).collect();
    for (at, (hump, judged)) in kept.iter_mut().enumerate() {
        let others = areas.iter().enumerate().filter(|(other, _)| *other != at);
        let times: Vec<f64> = others.map(|(_, area)| area / hump.area_ns).collect();
        judged.beside(&times);
    }
}

/// Takes the hump that is worth most for a burn, though one thing or another speaks against it, where none is one
/// surely.
pub(super) fn choose(kept: &mut [(Hump, Judged)], noise_n: f64) {
    if kept.iter().any(|(_, judged)| judged.confidence >= SURE) {
        return;
    }
    let best = kept
        .iter_mut()
        .filter(|(hump, judged)| {
            hump.height_n > CHOSEN_SDS * noise_n && judged.bounded < CHOSEN_COST
        })
        .max_by(|a, b| worth(a).total_cmp(&worth(b)));
    if let Some((_, judged)) = best {
        judged.confidence = SURE;
    }
}

fn worth((hump, judged): &(Hump, Judged)) -> f64 {
    WORTH_OF_TEN * hump.area_ns.log10() - judged.cost
}
