//! A chart as the page writes it: lines in an SVG that stretches with the window, letters beside it.
//!
//! The lines are drawn once, on a raster of [`WIDE`] by [`HIGH`] steps that is stretched to the room there
//! is; strokes keep their width. Letters stand in the page itself, so that they have the same size on
//! every screen and on paper. The script of the page reads the curves back from the paths: whole steps,
//! each counted from the one before. Long traces and areas keep the lowest and highest reading of each column.

use std::fmt::Write;

use maud::{Markup, PreEscaped, html};

use crate::render::decimate::{min_max, one_for_each_cell, thinned};
use crate::render::words::clean;
use crate::series::Series;

use super::chart::{Chart, Layer, Named, Role, ticks};
use super::palette::Colour;

/// Steps across a picture: a tenth of a millisecond of a firing.
const WIDE: f64 = 30_000.0;
/// Steps from the bottom to the top: finer than the read-out.
const HIGH: f64 = 8_000.0;
/// Columns a long trace is kept in; finer than the pixels of the widest picture.
const COLUMNS: usize = 800;
/// Width of a letter, px, rather too wide; and of the narrowest and the widest frame.
const LETTER_PX: f64 = 6.6;
const FRAMES_PX: [f64; 2] = [290.0, 500.0];
/// Height between two ticks of the y axis, px.
const TICK_PX: f64 = 42.0;
/// Ticks of the y axis of a strip, as long as they stand this far apart, px, and of the x axis; on a telephone every second of
/// those.
const LEAST_TICKS: f64 = 5.0;
const CLOSEST_PX: f64 = 18.0;
const X_TICKS: usize = 12;
/// Size of the cell in which of many dots one is drawn, steps.
const DOT: (f64, f64) = (60.0, 40.0);

impl Chart {
    /// The picture with its key above it.
    #[must_use]
    pub(crate) fn markup(&self) -> Markup {
        let high_px = f64::from(self.height_px);
        let most = (high_px / CLOSEST_PX) as usize;
        let count = (high_px / TICK_PX).max(LEAST_TICKS.min(high_px / CLOSEST_PX)) as usize;
        let ups = with_room(ticks(self.y, count), most);
        let rights = self.beside.map_or(vec![], |(factor, _)| {
            let of = ticks((factor * self.y.0, factor * self.y.1), count);
            of.into_iter()
                .map(|(at, words)| (at / factor, words))
                .collect()
        });
        let height = |at: f64| percent((at - self.y.0) / (self.y.1 - self.y.0));
        let alongs = ticks(self.x, X_TICKS);
        let live = self.zero_s.is_some();
        let rows = self.rows();
        let high = rows.iter().max().map_or(0, |row| row + 1);
        html! {
            p.key.num.readout[live] {
                @if live { b.time {} }
                span.axis {
                    (clean(&self.y_words))
                    @if let Some((_, unit)) = self.beside { "; right: " (unit) }
                }
                @for (nth, named) in self.layers.iter().enumerate() {
                    @if !named.name.is_empty() { (key(nth, named)) }
                }
            }
            div.strip.two[self.beside.is_some()] data-second=[self.beside.map(|(factor, _)| factor)] data-x=[live.then(|| pair(self.x))] data-y=[live.then(|| pair(self.y))]
                data-zero=[self.zero_s] data-unit=[live.then(|| clean(self.unit()))] style={ "--h:" (self.height_px) "px" } {
                div.moments style={ "height:" (high * 15) "px" } {
                    @for ((at, words), row) in self.moments.iter().zip(rows) {
                        @let left = self.share(*at);
                        span.left[left > 0.5] style={ "left:" (percent(left)) ";top:" (row * 15) "px" }
                            data-at=[live.then_some(*at)] { (clean(words)) }
                    }
                }
                div.frame {
                    (PreEscaped(self.svg(&ups)))
                    @for (at, words) in &ups {
                        span.up style={ "bottom:" (height(*at)) } { (words) }
                    }
                    @for (at, words) in &rights {
                        span.up.right style={ "bottom:" (height(*at)) } { (words) }
                    }
                }
                @if !self.x_words.is_empty() {
                    div.along {
                        @for (nth, (at, words)) in alongs.iter().enumerate() {
                            span.odd[nth % 2 == 1] style={ "left:" (percent(self.share(*at))) } { (words) }
                        }
                    }
                    div.across { (self.x_words) }
                }
            }
        }
    }

    /// How far along the x axis something lies.
    fn share(&self, x: f64) -> f64 {
        (x - self.x.0) / (self.x.1 - self.x.0)
    }

    /// The row that the words of each moment stand in: below those that they would cover in a narrow or in
    /// a wide frame.
    fn rows(&self) -> Vec<usize> {
        let mut taken: Vec<(usize, [(f64, f64); 2])> = vec![];
        let place = |(at, words): &(f64, String)| {
            let share = self.share(*at);
            let wide = LETTER_PX * (words.chars().count() as f64 + 2.0);
            let spans = FRAMES_PX.map(|frame| {
                let wide = wide.min(0.62 * frame);
                let start = share * frame - if share > 0.5 { wide } else { 0.0 };
                (start, start + wide)
            });
            let free = |row: &usize| {
                taken.iter().filter(|one| one.0 == *row).all(|(_, other)| {
                    let mut both = other.iter().zip(&spans);
                    both.all(|(a, b)| a.1 <= b.0 || b.1 <= a.0)
                })
            };
            let row = (0..).find(free).unwrap_or(0);
            taken.push((row, spans));
            row
        };
        self.moments.iter().map(place).collect()
    }

    fn svg(&self, ups: &[(f64, String)]) -> String {
        let mut out = format!(
            "<svg role=\"img\" aria-label=\"{}\" viewBox=\"0 0 {WIDE} {HIGH}\" \
             preserveAspectRatio=\"none\">",
            escaped(&self.title)
        );
        let level = |at: f64| format!("M0 {}h{WIDE}", self.step((self.x.0, at)).1);
        let grid: String = ups.iter().map(|(at, _)| level(*at)).collect();
        line(&mut out, "grid", &grid);
        if self.y.0 < 0.0 && self.y.1 > 0.0 {
            line(&mut out, "zero", &level(0.0));
        }
        for (nth, named) in self.layers.iter().enumerate() {
            self.layer(&mut out, nth, named);
        }
        let moments = self.moments.iter();
        let upright = moments.map(|(at, _)| format!("M{} 0v{HIGH}", self.step((*at, 0.0)).0));
        line(&mut out, "moment", &upright.collect::<String>());
        out + "</svg>"
    }

    fn layer(&self, out: &mut String, nth: usize, named: &Named) {
        let steps = |points: &[(f64, f64)]| -> Vec<(i64, i64)> {
            points.iter().map(|point| self.step(*point)).collect()
        };
        let mut thin = false;
        let (kind, path) = match &named.layer {
            Layer::Trace(series, _) => {
                let kept = min_max(series, COLUMNS);
                thin = kept.len() < series.len();
                ("line", joined(&steps(&kept)))
            }
            Layer::Curve(all, _) => ("line", joined(&steps(&thinned(all, COLUMNS)))),
            Layer::Steps(series, _) => ("line", joined(&steps(&stairs(series)))),
            Layer::Band(area, _) => ("band", self.outline(area)),
            Layer::Share(area, _) => ("share", self.outline(area)),
            Layer::Dots(all, _) => {
                let all: Vec<_> = steps(all)
                    .iter()
                    .map(|at| (at.0 as f64, at.1 as f64))
                    .collect();
                let kept = one_for_each_cell(&all, DOT);
                (
                    "dots",
                    kept.iter().map(|(x, y)| format!("M{x} {y}h0")).collect(),
                )
            }
            Layer::Stems(all, _) => {
                let foot = self.step((self.x.0, 0.0)).1;
                let stem = |(x, y): &(i64, i64)| format!("M{x} {foot}V{y}");
                ("line", steps(all).iter().map(stem).collect())
            }
            Layer::Spans(all, _) => {
                let span = |(from, to): &(f64, f64)| {
                    let (from, to) = (self.step((*from, 0.0)).0, self.step((*to, 0.0)).0);
                    format!("M{from} 0H{}V{HIGH}H{from}z", to.max(from + 60))
                };
                ("span", all.iter().map(span).collect::<String>())
            }
        };
        let colour = named.layer.colour();
        let _ = write!(
            out,
            "<path class=\"{kind}{}\" style=\"--c:var(--{})\"",
            dash(colour),
            colour.name()
        );
        let told = self.zero_s.is_some() && !named.name.is_empty();
        if told && matches!(kind, "line" | "band" | "share") {
            let _ = write!(out, " data-n=\"{nth}\"");
            if thin {
                let _ = write!(out, " data-column=\"{}\"", WIDE / COLUMNS as f64);
            }
        }
        let role = match named.role {
            Some(Role::Tilt) => " data-role=\"tilt\"".to_owned(),
            Some(Role::Nozzle) => " data-role=\"nozzle\"".to_owned(),
            Some(Role::Motor(nth)) => format!(" data-role=\"motor-{nth}\""),
            None => String::new(),
        };
        let _ = write!(out, "{role} d=\"{path}\"/>");
    }

    /// The whole step that a point lies nearest to; far outside it stays near.
    fn step(&self, (x, y): (f64, f64)) -> (i64, i64) {
        let up = (y - self.y.0) / (self.y.1 - self.y.0);
        let whole = |share: f64, all: f64| (share.clamp(-9.0, 10.0) * all).round() as i64;
        (whole(self.share(x), WIDE), whole(1.0 - up, HIGH))
    }

    /// Around an area: along what is low and back along what is high. Of a long one the lowest and the highest
    /// reading of each column are kept.
    fn outline(&self, area: &[(f64, f64, f64)]) -> String {
        let finite = |(_, low, high): &&(f64, f64, f64)| (low + high).is_finite();
        let sound: Vec<_> = area.iter().filter(finite).copied().collect();
        let kept: Vec<_> = if sound.len() > 2 * COLUMNS {
            let columns = sound.chunks(sound.len().div_ceil(COLUMNS));
            columns.flat_map(reach).collect()
        } else {
            sound
        };
        let there = kept.iter().map(|(x, low, _)| self.step((*x, *low)));
        let back = kept.iter().rev().map(|(x, _, high)| self.step((*x, *high)));
        joined(&there.chain(back).collect::<Vec<_>>()) + "z"
    }
}

/// Where a part of an area is lowest and where it is highest, in order.
fn reach(part: &[(f64, f64, f64)]) -> Vec<(f64, f64, f64)> {
    let lowest = part.iter().min_by(|a, b| a.1.total_cmp(&b.1));
    let highest = part.iter().max_by(|a, b| a.2.total_cmp(&b.2));
    let mut both: Vec<_> = lowest.into_iter().chain(highest).copied().collect();
    both.sort_by(|a, b| a.0.total_cmp(&b.0));
    both.dedup();
    both
}

/// A name of the key, and room for what the curve is at a moment.
fn key(nth: usize, named: &Named) -> Markup {
    let kind = match &named.layer {
        Layer::Band(..) | Layer::Share(..) | Layer::Spans(..) => "area",
        Layer::Dots(..) => "dots",
        _ => "line",
    };
    let colour = named.layer.colour();
    html! {
        span class={ "k " (kind) (dash(colour)) } style={ "--c:var(--" (colour.name()) ")" } {
            (clean(&named.name)) " " output data-n=(nth) {}
        }
    }
}

const fn dash(colour: Colour) -> &'static str {
    if colour.dashed() { " dash" } else { "" }
}

fn line(out: &mut String, class: &str, path: &str) {
    if !path.is_empty() {
        let _ = write!(out, "<path class=\"{class}\" d=\"{path}\"/>");
    }
}

/// A broken line as a path: each corner counted from the one before.
fn joined(corners: &[(i64, i64)]) -> String {
    let Some((first, rest)) = corners.split_first() else {
        return String::new();
    };
    let mut out = format!("M{} {}", first.0, first.1);
    let between = |value: i64| if value < 0 { "" } else { " " };
    for (nth, (corner, before)) in rest.iter().zip(corners).enumerate() {
        let (x, y) = (corner.0 - before.0, corner.1 - before.1);
        let lead = if nth == 0 { "l" } else { between(x) };
        let _ = write!(out, "{lead}{x}{}{y}", between(y));
    }
    out
}

/// Corners of a line that holds each value until the next; equal values are drawn through.
fn stairs(series: &Series) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = Vec::new();
    for (time, value) in series.iter() {
        match out.last().copied() {
            Some((_, before)) if before == value => continue,
            Some((_, before)) => out.extend([(time, before), (time, value)]),
            None => out.push((time, value)),
        }
    }
    if let (Some((_, end)), Some((_, value))) = (series.span_s(), out.last().copied()) {
        out.push((end, value));
    }
    out
}

fn pair((from, to): (f64, f64)) -> String {
    format!("{from} {to}")
}

/// At most so many ticks of more, evenly apart, zero among them: round steps may be more than were asked for.
fn with_room(all: Vec<(f64, String)>, most: usize) -> Vec<(f64, String)> {
    let every = all.len().div_ceil(most.max(1)).max(1);
    let zero = all.iter().position(|(at, _)| at.abs() < f64::EPSILON);
    let first = zero.unwrap_or(0) % every;
    all.into_iter().skip(first).step_by(every).collect()
}

fn percent(share: f64) -> String {
    format!("{:.2}%", 100.0 * share)
}

fn escaped(text: &str) -> String {
    clean(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::super::chart::Across;
    use super::super::named;
    use super::super::palette::MEASURED;
    use super::*;

    fn chart(value: &[f64], across: Across) -> Chart {
        let time: Vec<f64> = (0..value.len()).map(|i| i as f64 * 1e-3).collect();
        let trace = Layer::Trace(Series::new(&time, value), MEASURED);
        let layers = vec![named(trace, "</script>\"")];
        Chart::around("<t>\"", across, "thrust, N", layers).unwrap()
    }

    /// The corners of the first curve, steps.
    fn corners(text: &str) -> Vec<(i64, i64)> {
        let path = text.split("data-n=\"0\"").last().unwrap();
        let path = path
            .split(" d=\"M")
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap();
        let spaced = path.replace('l', " ").replace('-', " -");
        let numbers: Vec<i64> = spaced
            .split_whitespace()
            .map(|n| n.parse().unwrap())
            .collect();
        let mut at = (0, 0);
        let pairs = numbers.chunks(2).map(|pair| {
            at = (at.0 + pair[0], at.1 + pair[1]);
            at
        });
        pairs.collect()
    }

    #[test]
    fn a_spike_of_one_reading_in_a_hundred_thousand_is_drawn_and_little_else() {
        let mut value: Vec<f64> = (0..100_000).map(|i| f64::from(i % 7) * 0.1).collect();
        value[77_777] = 90.0;
        let text = chart(&value, Across::Time("time, s"))
            .markup()
            .into_string();
        assert!(text.len() < 45_000, "{}", text.len());
        let highest = corners(&text).into_iter().min_by_key(|at| at.1).unwrap();
        // 6 % of the range of 90 N lie above and below it.
        assert_eq!(
            highest,
            (23_333, 8000 - (8000.0 * 1.06 / 1.12_f64).round() as i64)
        );
    }

    #[test]
    fn readings_come_back_from_their_steps() {
        let value: Vec<f64> = (0..500)
            .map(|i| 10.0 * (0.09 * f64::from(i)).sin())
            .collect();
        let chart = chart(&value, Across::Time("time, s"));
        let corners = corners(&chart.markup().into_string());
        assert_eq!(corners.len(), 500);
        for ((_, y), expected) in corners.iter().zip(&value) {
            let got = chart.y.1 - *y as f64 / HIGH * (chart.y.1 - chart.y.0);
            assert!((got - expected).abs() < 0.0015, "{got} {expected}");
        }
    }

    #[test]
    fn only_pictures_over_time_are_live_and_no_name_breaks_out() {
        let value = [0.0, 2.0];
        let live = |across| chart(&value, across).markup().into_string();
        assert!(!live(Across::Quantity("timer setting, s")).contains("data-x"));
        let text = live(Across::Time("time since ignition, s"));
        assert!(text.contains("data-x=\"0 0.001\"") && text.contains("data-unit=\"N\""));
        assert!(text.contains("aria-label=\"&lt;t>&quot;\"") && !text.contains("</script>"));
    }

    #[test]
    fn steps_have_a_corner_for_each_change_and_none_for_what_stays() {
        let series = Series::new(&[0.0, 1.0, 2.0, 3.0], &[0.0, 0.0, 5.0, 5.0]);
        let expected = [(0.0, 0.0), (2.0, 0.0), (2.0, 5.0), (3.0, 5.0)];
        assert_eq!(stairs(&series), expected);
    }

    #[test]
    fn words_of_near_moments_stand_in_rows() {
        let mut chart = chart(&[0.0, 1.0], Across::Time("time, s"));
        let at = [
            (0.0, "left lights"),
            (0.00002, "right lights"),
            (0.001, "burnout"),
        ];
        chart.moments = at.map(|(at, words)| (at, words.to_owned())).to_vec();
        assert_eq!(chart.rows(), [0, 1, 0]);
    }
}
