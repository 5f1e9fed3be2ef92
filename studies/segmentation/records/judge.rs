//! Whether a careful person could mark a firing, by rules on what was drawn and never on what a program finds.
//!
//! Each [`Doubt`] is one rule; its limits stand here once. A person is taken to see a peak of eight standard deviations of
//! the noise, white noise being averaged by eye where there are more than fifty readings, to need four sound readings, to look
//! through a zero that moves by less than 40 % of peak within one burn time, and not to see through hands of 15 % of
//! peak or more during the burn or within a breath (0.1 s or two readings) of it. A lone smooth push
//! passes for a burn if it is of 0.3 of peak or more, either way, lasts a third to three times the burn, and its
//! rise from 5 % to 30 % takes less than twice the burn's, none being seen as shorter than one reading.

use super::curve::Facts;
use super::reading::Rows;
use super::scene::Scene;
use super::truth::{Doubt, Firing, Kind, Replaced};

pub(crate) fn judge(scene: &Scene, rows: &Rows, replaced: &[Replaced], index: usize) -> Firing {
    let placed = &scene.firings[index];
    let facts = placed.curve.facts.clone();
    let (start, end) = (placed.at + facts.start, placed.at + facts.end);
    let first = rows.times.partition_point(|&t| t < start);
    let last = rows.times.partition_point(|&t| t <= end);
    let hit = |row: usize| {
        replaced
            .iter()
            .any(|r| row >= r.row && row < r.row + r.rows)
    };
    let sound: Vec<usize> = (first..last)
        .filter(|&row| replaced.is_empty() || !hit(row))
        .collect();
    let clipped = rows.full_scale.map_or(0, |most| {
        sound
            .iter()
            .filter(|&&row| (rows.readings[row] - most).abs() <= 0.6 * scene.noise.quantum)
            .count()
    });
    let (other_start, other_end) = placed.curve.sound_window();
    let mut other_starts = Vec::new();
    let mut other_ends = Vec::new();
    if placed.curve.lead > 0.0 || placed.curve.burst_at().is_some() {
        other_starts.push(placed.at + other_start);
    }
    if placed.curve.burst_at().is_some() {
        other_ends.push(placed.at + other_end);
    }
    other_starts.extend(scene.pop.filter(|_| index == 0));
    let at = |t: f64| scene.unloaded(t) + scene.zero.load(t);
    let mut firing = Firing {
        start,
        end,
        other_starts,
        other_ends,
        start_between: (start, start),
        end_between: (end, end),
        impulse_read: impulse_read(scene, index),
        peak_read: rows.felt.get(index).copied().unwrap_or(0.0),
        impulse: facts.impulse,
        impulse_in_window: facts.impulse_in_window,
        peak: facts.peak,
        peak_time: placed.at + facts.peak_time,
        family: placed.curve.family,
        burst: placed.curve.burst_at().map(|burst| placed.at + burst),
        zero_before: at(start),
        zero_after: at(placed.at + placed.curve.length()),
        readings: last - first,
        spoiled: last - first - sound.len(),
        clipped,
        cut: rows.times.first().is_none_or(|&t| t > start)
            || rows.times.last().is_none_or(|&t| t < end),
        doubts: Vec::new(),
    };
    widen(scene, rows, replaced, index, &mut firing);
    firing.doubts = doubts(
        scene,
        &firing,
        &facts,
        rows.swing.get(index).copied().unwrap_or(0.0),
    );
    firing
}

/// Averages keep the impulse; readings at an instant sum to their rectangles.
fn impulse_read(scene: &Scene, index: usize) -> f64 {
    let placed = &scene.firings[index];
    if scene.averaging {
        return placed.curve.facts.impulse;
    }
    let first = (placed.at * scene.rate).ceil() as u64;
    let last = ((placed.at + placed.curve.length()) * scene.rate) as u64;
    (first..=last)
        .map(|i| placed.curve.thrust(i as f64 / scene.rate - placed.at))
        .sum::<f64>()
        / scene.rate
}

/// The window a person could set: 5 % of peak give or take 2 %, two standard deviations of the noise, and half the shift of
/// the zero; then two readings, the ringing's time to fall to a twentieth, and replaced rows that touch an edge;
/// never more than one burn time early, one and a half late, or seven tenths of it lost.
fn widen(scene: &Scene, rows: &Rows, replaced: &[Replaced], index: usize, firing: &mut Firing) {
    let placed = &scene.firings[index];
    let shift = (firing.zero_after - firing.zero_before).abs();
    let slack = 0.02 * firing.peak + 2.0 * scene.noise.sd() + 0.5 * shift;
    let seen = if firing.clipped > 0 { 0.4 } else { 1.0 };
    let low = (seen * 0.05 * firing.peak - slack).max(0.004 * firing.peak);
    let high = (0.05 * firing.peak + slack).min(0.25 * firing.peak);
    let [(first, last), (late, early)] = placed.curve.crossings([low, high]);
    let readings = 2.0 / scene.rate + 0.002;
    let ringing = scene.ringing.map_or(0.0, |r| {
        3.0 * r.quality / (std::f64::consts::PI * r.frequency)
    });
    firing.start_between = (placed.at + first - readings, placed.at + late + readings);
    firing.end_between = (
        placed.at + early - readings,
        placed.at + last + readings + ringing,
    );
    for rows_put in replaced {
        let from = rows.times[rows_put.row] - readings;
        let to = rows.times[rows_put.row + rows_put.rows - 1] + readings;
        for between in [&mut firing.start_between, &mut firing.end_between] {
            if from < between.1 && to > between.0 {
                *between = (between.0.min(from), between.1.max(to));
            }
        }
    }
    let long = firing.end - firing.start;
    let (start, end) = (&mut firing.start_between, &mut firing.end_between);
    start.0 = start.0.max(firing.start - long - readings);
    start.1 = start.1.min(firing.end - 0.3 * long);
    end.0 = end.0.max(firing.start + 0.3 * long);
    end.1 = end.1.min(firing.end + 1.5 * long + readings);
}

fn doubts(scene: &Scene, firing: &Firing, facts: &Facts, swing: f64) -> Vec<Doubt> {
    let long = firing.end - firing.start;
    let sound = firing.readings - firing.spoiled;
    let breath = (2.0 / scene.rate).max(0.1);
    // A burst's pulse is not the size by which the motor's own burn is seen.
    let size = firing.peak.min(if firing.burst.is_some() {
        scene.size
    } else {
        firing.peak
    });
    let near = |from: f64, to: f64| from < firing.end + breath && to > firing.start - breath;
    let mut zeros =
        (0..=60).map(|i| scene.unloaded(firing.start - long + 3.0 * long * f64::from(i) / 60.0));
    let level = zeros.next().unwrap_or(0.0);
    let (low, high) = zeros.fold((level, level), |(low, high), zero| {
        (low.min(zero), high.max(zero))
    });
    let onset = facts.onset.max(1.0 / scene.rate);
    let like = |push: &super::force::Force| {
        let rise = (0.112 * push.length).max(1.0 / scene.rate);
        push.size.abs() > 0.3 * firing.peak
            && push.length > long / 3.0
            && push.length < 3.0 * long
            && rise < 2.0 * onset
    };
    let spoilt = |kind: Kind| scene.kinds.contains(&kind);
    [
        (sound < 4, Doubt::TooFewReadings),
        (
            size < 8.0 * scene.noise.averaged(sound) || size < 3.0 * scene.noise.sd(),
            Doubt::Noise,
        ),
        (
            high - low > 0.4 * size && !spoilt(Kind::Burst),
            Doubt::Drift,
        ),
        (
            scene
                .hands
                .iter()
                .any(|hand| near(hand.0, hand.1) && hand.2 >= 0.15 * size),
            Doubt::Handling,
        ),
        (scene.pushes.iter().any(like), Doubt::LikePush),
        (
            sound < 8
                && scene
                    .hands
                    .iter()
                    .any(|hand| hand.1 - hand.0 > 0.5 * long && hand.2 > 0.3 * size),
            Doubt::LikeHandling,
        ),
        (
            firing
                .burst
                .is_some_and(|burst| (burst - firing.other_starts[0]) * scene.rate < 4.0),
            Doubt::BareBurst,
        ),
        (swing > 0.25 * size, Doubt::Ringing),
        (firing.spoiled * 5 > firing.readings * 2, Doubt::Spoiled),
        (
            firing.clipped > 0 && sound - firing.clipped < 3,
            Doubt::Saturated,
        ),
    ]
    .into_iter()
    .filter_map(|(holds, doubt)| holds.then_some(doubt))
    .collect()
}
