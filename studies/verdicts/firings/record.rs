//! Recorders: readings of the cells with noise, delay and converter, fire lines and igniter currents, as log files.

use std::fmt::Write as _;

use super::burn::{self, Motor, STEP};
use super::rig::{CellPlan, Clock, FireLine, Rig};
use super::rng::{Rng, Stream};
use super::truth::{Cause, Kind};

pub(super) struct Record {
    /// Name and text of each log, the first log first.
    pub(super) logs: Vec<(String, String)>,
    /// Offset of the box's clock as the firing file states it.
    pub(super) box_offset_s: f64,
    pub(super) causes: Vec<Cause>,
}

/// What a cell's wire and converter do to its reading.
#[derive(Clone, Copy, Debug)]
enum Fault {
    /// One code from this time on.
    Constant { from: f64, code: f64 },
    /// From this time on now and then this code, for a while each.
    Flicker { from: f64, code: f64 },
}

pub(super) fn record(
    seed: u64,
    rig: &Rig,
    motors: &[Motor],
    courses: &[Vec<f64>],
    forces: &[Vec<f64>],
    faulty: bool,
) -> Record {
    let mut rng = Rng::new(seed, Stream::Faults);
    let mut causes = Vec::new();
    let burns: Vec<_> = courses.iter().filter_map(|c| burn::ignition(c)).collect();
    let mut stamps_late_s = 0.0;
    let (off, beyond) = (rng.chance(0.06), rng.uniform(0.15, 2.0));
    if let (true, Some(first)) = (off && faulty, burns.iter().copied().reduce(f64::min))
        && rig.recorder.fire_line != FireLine::Absent
    {
        stamps_late_s = first - rig.fire_s + beyond;
        causes.push(Cause::new(
            Kind::StampsOff,
            "",
            format!("fire line {stamps_late_s:.3} s late"),
        ));
    }
    let mut columns = Vec::new();
    let times = times(seed, rig, forces.first().map_or(0, Vec::len));
    for (c, cell) in rig.cells.iter().enumerate() {
        let mut rails = (cell.low, cell.high);
        let mut fault = None;
        if faulty {
            clip(&mut rng, cell, &forces[c], &mut rails, &mut causes);
            fault = drawn_fault(&mut rng, cell, courses, rig.fire_s, &mut causes);
        }
        beyond_range(cell, &forces[c], rails, &mut causes);
        columns.push(readings(
            seed.wrapping_add(977 * c as u64),
            rig,
            cell,
            (&forces[c], &times),
            rails,
            fault,
        ));
    }
    let steering = rig
        .axis
        .as_ref()
        .map(|a| a.rows(seed, rig, courses, &times));
    let lines = Lines {
        rig,
        late: stamps_late_s,
        currents: currents(seed, rig, motors),
    };
    let box_offset_s = rig.recorder.box_start_s + 0.002 * Rng::new(seed, Stream::Recorder).normal();
    let mut logs = vec![(
        "stand.csv".to_string(),
        stand_log(rig, &times, &columns, &lines, steering.as_deref()),
    )];
    if matches!(
        rig.recorder.fire_line,
        FireLine::BoxByEdge | FireLine::BoxByOffset
    ) {
        logs.push((
            "box.csv".to_string(),
            box_log(rig, times.last().copied().unwrap_or(0.0), &lines),
        ));
    }
    Record {
        logs,
        box_offset_s,
        causes,
    }
}

/// Instants of the stand log's rows; the first is 0.
fn times(seed: u64, rig: &Rig, count: usize) -> Vec<f64> {
    let mut rng = Rng::new(seed, Stream::Recorder);
    let r = &rig.recorder;
    let rows = (count as f64 * STEP * r.rate_hz) as usize;
    let mut times = Vec::with_capacity(rows);
    for k in 0..rows {
        let jitter = if k == 0 {
            0.0
        } else {
            r.jitter_s * rng.normal()
        };
        if !rng.chance(r.dropped) || k == 0 {
            times.push(k as f64 / r.rate_hz + jitter);
        }
    }
    times
}

fn clip(
    rng: &mut Rng,
    cell: &CellPlan,
    force: &[f64],
    rails: &mut (f64, f64),
    causes: &mut Vec<Cause>,
) {
    let (there, share) = (rng.chance(0.06), rng.uniform(0.35, 0.9));
    let top = force.iter().copied().fold(0.0, f64::max);
    if !there || top < 0.3 * cell.largest_n {
        return;
    }
    let limit = share * top.min(1.5 * cell.peak_n);
    // the converter ends there: as with a gain that was set too high
    let code = cell.counts(limit).round();
    if cell.slope > 0.0 {
        rails.1 = code.min(rails.1);
    } else {
        rails.0 = code.max(rails.0);
    }
    causes.push(Cause::new(
        Kind::HardClip,
        &cell.name,
        format!("at {limit:.2} N of {top:.2} N, code {code}"),
    ));
}

fn drawn_fault(
    rng: &mut Rng,
    cell: &CellPlan,
    courses: &[Vec<f64>],
    fire_s: f64,
    causes: &mut Vec<Cause>,
) -> Option<Fault> {
    let kind = [
        None,
        Some(Kind::WireBrokenBefore),
        Some(Kind::WireBrokenInBurn),
        Some(Kind::ConverterStuck),
    ][rng.weighted(&[0.9, 0.04, 0.035, 0.025])];
    let (a, b, c) = (rng.unit(), rng.unit(), rng.unit());
    let kind = kind?;
    let rail = if b < 0.6 { cell.high } else { cell.low };
    let somewhere = (cell.zero + (b - 0.5) * 0.2 * cell.slope * cell.capacity_n).round();
    let (from, to) = span(
        &cell
            .motors
            .iter()
            .map(|&m| courses[m].as_slice())
            .collect::<Vec<_>>(),
        fire_s,
    );
    let fault = match kind {
        Kind::WireBrokenBefore => Fault::Constant {
            from: if a < 0.7 { 0.0 } else { 0.9 * fire_s * c },
            code: somewhere.clamp(cell.low, cell.high),
        },
        Kind::ConverterStuck => Fault::Constant {
            from: if a < 0.8 { 0.0 } else { 0.9 * fire_s * c },
            code: rail,
        },
        _ => {
            let from = from + (0.05 + 0.85 * c) * (to - from);
            match a {
                a if a < 0.35 => Fault::Constant { from, code: rail },
                a if a < 0.7 => Fault::Constant {
                    from,
                    code: if b < 0.5 { 0.0 } else { cell.zero },
                },
                _ => Fault::Flicker { from, code: rail },
            }
        }
    };
    causes.push(Cause::new(kind, &cell.name, format!("{fault:?}")));
    Some(fault)
}

/// Loads beyond the converter's own range, from a burst, a knock or a wrong motor.
fn beyond_range(cell: &CellPlan, force: &[f64], rails: (f64, f64), causes: &mut Vec<Cause>) {
    let known = causes
        .iter()
        .any(|c| c.kind == Kind::HardClip && c.at == cell.name);
    let out = |f: &f64| !(rails.0..=rails.1).contains(&cell.counts(cell.zero_shift_n + f));
    if !known && force.iter().any(out) {
        causes.push(Cause::new(
            Kind::HardClip,
            &cell.name,
            "beyond the converter's range".to_string(),
        ));
    }
}

/// From the first ignition to the last thrust of these motors.
fn span(courses: &[&[f64]], fire_s: f64) -> (f64, f64) {
    let from = courses
        .iter()
        .filter_map(|c| burn::ignition(c))
        .reduce(f64::min);
    let to = courses
        .iter()
        .filter_map(|c| c.iter().rposition(|f| *f > 0.0))
        .max();
    from.zip(to)
        .map_or((fire_s, fire_s + 2.0), |(a, b)| (a, b as f64 * STEP))
}

fn readings(
    seed: u64,
    rig: &Rig,
    cell: &CellPlan,
    (force, times): (&[f64], &[f64]),
    rails: (f64, f64),
    fault: Option<Fault>,
) -> Vec<f64> {
    let mut rng = Rng::new(seed, Stream::Noise);
    let r = &rig.recorder;
    let half = if r.averages { 0.5 / r.rate_hz } else { 0.0 };
    let mut bad_until = f64::NEG_INFINITY;
    let mut good_until = f64::NEG_INFINITY;
    times
        .iter()
        .map(|&t| {
            let middle = t - cell.delay_s;
            let mean = if half > 0.0 {
                mean(force, middle - half, middle + half)
            } else {
                at(force, middle)
            };
            let noise = cell.noise_n * rng.normal();
            let (u, v) = (rng.unit(), rng.unit());
            let code = cell
                .counts(cell.zero_shift_n + mean + noise)
                .round()
                .clamp(rails.0, rails.1);
            match fault {
                Some(Fault::Constant { from, code }) if t >= from => code,
                Some(Fault::Flicker { from, code: rail }) if t >= from => {
                    if t >= bad_until && t >= good_until {
                        bad_until = t + 0.002 + 0.03 * u;
                        good_until = bad_until + 0.001 + 0.04 * v;
                    }
                    if t < bad_until { rail } else { code }
                }
                _ => code,
            }
        })
        .collect()
}

fn at(force: &[f64], time: f64) -> f64 {
    let x = (time / STEP).clamp(0.0, force.len() as f64 - 1.001);
    let k = x as usize;
    force[k] + (force[k + 1] - force[k]) * (x - k as f64)
}

fn mean(force: &[f64], from: f64, to: f64) -> f64 {
    let index = |t: f64| ((t / STEP).max(0.0) as usize).min(force.len() - 1);
    let part = &force[index(from)..=index(to)];
    part.iter().sum::<f64>() / part.len() as f64
}

/// Current in A through each igniter: when it begins, when it ends, how large.
fn currents(seed: u64, rig: &Rig, motors: &[Motor]) -> Vec<(f64, f64, f64)> {
    let mut rng = Rng::new(seed, Stream::Igniters);
    let supply = rng.uniform(1.5, 6.0);
    rig.motors
        .iter()
        .zip(motors)
        .map(|(plan, motor)| {
            let (open, burns_through, bridge) =
                (rng.chance(0.4), rng.chance(0.7), rng.uniform(0.015, 0.15));
            let level = supply * rng.uniform(0.9, 1.1);
            if open && !motor.lit {
                return (plan.command_s, plan.command_s, 0.0);
            }
            let lasts = if burns_through { bridge } else { FIRE_LASTS };
            (plan.command_s, plan.command_s + lasts, level)
        })
        .collect()
}

/// How long a fire line stays up, s.
const FIRE_LASTS: f64 = 0.6;

struct Lines<'a> {
    rig: &'a Rig,
    late: f64,
    currents: Vec<(f64, f64, f64)>,
}

impl Lines<'_> {
    fn names(&self) -> Vec<String> {
        let r = &self.rig.recorder;
        let mut names = Vec::new();
        if r.own_lines {
            names.extend(self.rig.motors.iter().map(|m| format!("fire_{}", m.name)));
        } else {
            names.push("fire".to_string());
        }
        if r.igniters {
            names.extend(self.rig.motors.iter().map(|m| format!("i_{}", m.name)));
        }
        names
    }
    fn cells(&self, time: f64, rng: &mut Rng, text: &mut String) {
        let r = &self.rig.recorder;
        let t = time - self.late;
        let up = |command: f64| u8::from((command..command + FIRE_LASTS).contains(&t));
        if r.own_lines {
            for m in &self.rig.motors {
                let _ = write!(text, ",{}", up(m.command_s));
            }
        } else {
            let _ = write!(text, ",{}", up(self.rig.fire_s));
        }
        if r.igniters {
            for (from, to, level) in &self.currents {
                let flows = if (*from..*to).contains(&t) {
                    *level
                } else {
                    0.0
                };
                let _ = write!(text, ",{:.3}", flows + 0.01 * rng.normal());
            }
        }
    }
}

fn stand_log(
    rig: &Rig,
    times: &[f64],
    columns: &[Vec<f64>],
    lines: &Lines,
    steering: Option<&[[f64; 3]]>,
) -> String {
    let r = &rig.recorder;
    let mut rng = Rng::new(r.start as u64, Stream::Recorder);
    let mut names: Vec<String> = Vec::new();
    names.extend(match r.clock {
        Clock::Micros => Some("t_us".to_string()),
        Clock::Millis => Some("ms".to_string()),
        Clock::Seconds => Some("time_s".to_string()),
        Clock::RateOnly => None,
    });
    names.extend(rig.cells.iter().map(|c| format!("{}_raw", c.name)));
    let in_stand = matches!(r.fire_line, FireLine::Stand);
    let edge = matches!(r.fire_line, FireLine::BoxByEdge);
    if in_stand {
        names.extend(lines.names());
    } else if edge {
        names.push("mark".to_string());
    }
    if steering.is_some() {
        names.extend(["cmd_yaw", "tilt_yaw", "gyro_yaw"].map(str::to_string));
    }
    let mut text = names.join(",") + "\n";
    for (k, &t) in times.iter().enumerate() {
        let stamp = match r.clock {
            Clock::Micros => Some(format!(
                "{}",
                (r.start as u64 + (t * 1e6).round() as u64) % (1 << 32)
            )),
            Clock::Millis => Some(format!("{:.2}", r.start / 1e3 + t * 1e3)),
            Clock::Seconds => Some(format!("{t:.6}")),
            Clock::RateOnly => None,
        };
        let row: Vec<String> = stamp
            .into_iter()
            .chain(columns.iter().map(|c| format!("{}", c[k])))
            .collect();
        text += &row.join(",");
        if in_stand {
            lines.cells(t, &mut rng, &mut text);
        } else if edge {
            let since = t - lines.late - rig.fire_s;
            let _ = write!(text, ",{}", u8::from((0.0..FIRE_LASTS).contains(&since)));
        }
        if let Some([command, tilt, rate]) = steering.and_then(|s| s.get(k)) {
            let _ = write!(text, ",{command:.2},{tilt:.3},{rate:.3}");
        }
        text.push('\n');
    }
    text
}

fn box_log(rig: &Rig, end: f64, lines: &Lines) -> String {
    let r = &rig.recorder;
    let mut rng = Rng::new(r.start as u64 + 1, Stream::Recorder);
    let mut text = format!("ms,{}\n", lines.names().join(","));
    let rows = ((end - r.box_start_s) * r.box_rate_hz) as usize;
    for k in 0..rows {
        let since = k as f64 / r.box_rate_hz;
        let _ = write!(text, "{:.2}", 1e3 * since);
        lines.cells(r.box_start_s + since, &mut rng, &mut text);
        text.push('\n');
    }
    text
}
