//! The thrust curve of a certified motor, from its file or from one that this names.

use std::path::PathBuf;

use super::keys::Table;
use crate::diagnostic::{Code, Diagnostic, Located, Place, Source};
use crate::numeric::trapezoid;
use crate::quantity::{Given, Impulse};
use crate::series::Series;

/// Reads the curve, and holds its area against the impulse stated beside it.
pub(super) fn read(root: &Table<'_>, stated: Option<&Given<Impulse>>) -> Option<Series> {
    let curve = match (root.pairs("thrust_curve"), root.path("thrust_file")) {
        (Some(_), Some(file)) => {
            root.mistake(
                Diagnostic::error(Code::TwoCurves, "the thrust curve is told twice")
                    .at(file.place)
                    .hint("give thrust_curve or thrust_file, not both"),
            );
            None
        }
        (Some(points), None) => curve_from_pairs(root, &points),
        (None, Some(file)) => curve_from_file(root, &file),
        (None, None) => None,
    };
    check_area(root, curve.as_ref(), stated);
    curve
}

fn curve_from_pairs(root: &Table<'_>, points: &[Located<(f64, f64)>]) -> Option<Series> {
    let mut curve = Series::default();
    for point in points {
        if let Err(problem) = add_point(&mut curve, point.value, &point.place) {
            root.mistake(*problem);
            return None;
        }
    }
    let place = points.first().map(|point| point.place.clone());
    check_curve(root, curve, place.or_else(|| root.place_of("thrust_curve")))
}

/// Latest time and largest thrust of a curve, s and N: beyond them the units are others.
const LATEST_S: f64 = 600.0;
const LARGEST_N: f64 = 1e5;

/// Most points of a curve.
const MOST_POINTS: usize = 10_000;

/// Adds a point that can be meant.
fn add_point(
    curve: &mut Series,
    (time_s, thrust_n): (f64, f64),
    place: &Place,
) -> Result<(), Box<Diagnostic>> {
    let wrong = |code, what: &str, hint: &str| {
        Err(Box::new(
            Diagnostic::error(code, what).at(place.clone()).hint(hint),
        ))
    };
    let sound = time_s >= 0.0 && thrust_n >= 0.0;
    if !sound || curve.time_s().last().is_some_and(|last| time_s <= *last) {
        let what = "times of a thrust curve rise, and nothing is negative";
        return wrong(
            Code::CurveOrder,
            what,
            "put the points in the order of their times, each time once",
        );
    }
    if time_s > LATEST_S {
        let what = format!("no motor burns at {time_s} s");
        return wrong(
            Code::CurveRange,
            &what,
            "times of a thrust curve are in s, not in ms",
        );
    }
    if thrust_n > LARGEST_N {
        let what = format!("no motor here gives {thrust_n:e} N");
        return wrong(Code::CurveRange, &what, "thrust of a curve is in N");
    }
    if curve.len() == MOST_POINTS {
        let what = format!("a thrust curve has at most {MOST_POINTS} points");
        return wrong(
            Code::CurveLong,
            &what,
            "thin it: published curves have some dozens",
        );
    }
    curve.push(time_s, thrust_n);
    Ok(())
}

fn curve_from_file(root: &Table<'_>, file: &Located<PathBuf>) -> Option<Series> {
    let source = match Source::read(&file.value) {
        Ok(source) => source,
        Err(problems) => {
            problems
                .where_named(&file.place, &file.value)
                .into_iter()
                .for_each(|problem| root.mistake(problem));
            return None;
        }
    };
    let mut curve = Series::default();
    let mut at = 0;
    for line in source.text.split_inclusive('\n') {
        let body = line.trim();
        let mut fields = body
            .split([',', ';', '\t'])
            .map(|field| field.trim().parse::<f64>());
        if let (Some(Ok(time_s)), Some(Ok(thrust_n))) = (fields.next(), fields.next()) {
            let place = source.place(at..at + line.trim_end().len());
            if let Err(problem) = add_point(&mut curve, (time_s, thrust_n), &place) {
                root.mistake(*problem);
                return None;
            }
        } else if !body.is_empty() && !body.starts_with('#') && !curve.is_empty() {
            root.mistake(
                Diagnostic::error(
                    Code::NotANumber,
                    "a thrust curve line needs time in s and thrust in N",
                )
                .at(source.place(at..at + line.trim_end().len()))
                .hint("correct the line, or put # in front of it"),
            );
            return None;
        }
        at += line.len();
    }
    check_curve(root, curve, Some(file.place.clone()))
}

fn check_curve(root: &Table<'_>, curve: Series, place: Option<Place>) -> Option<Series> {
    let (code, what) = if curve.len() < 2 {
        (Code::CurveShort, "a thrust curve needs at least two points")
    } else if curve.value().iter().all(|thrust_n| *thrust_n == 0.0) {
        (Code::CurveFlat, "the thrust curve is zero throughout")
    } else {
        return Some(curve);
    };
    root.mistake(
        Diagnostic::error(code, what)
            .at(place.unwrap_or_else(|| root.place()))
            .hint("write its points as [s, N], such as [[0.0, 0.0], [0.1, 20.0], [2.0, 0.0]]"),
    );
    None
}

/// A curve may differ from the impulse beside it by what certifying rounds and scatters, not by this factor.
const AREA_FACTOR: f64 = 2.0;

/// Refuses a curve whose area is not the impulse that is stated beside it.
fn check_area(root: &Table<'_>, curve: Option<&Series>, stated: Option<&Given<Impulse>>) {
    let (Some(curve), Some(stated)) = (curve, stated) else {
        return;
    };
    let (area, stated) = (trapezoid::area(curve), stated.si());
    if (stated / AREA_FACTOR..=stated * AREA_FACTOR).contains(&area) {
        return;
    }
    let text =
        format!("the thrust curve holds {area:.4} N s, and `total_impulse` says {stated} N s");
    let places = ["thrust_curve", "thrust_file"].into_iter();
    let place = places.filter_map(|key| root.place_of(key)).next();
    root.mistake(
        Diagnostic::error(Code::CurveArea, text)
            .at(place.unwrap_or_else(|| root.place()))
            .hint("times are in s and thrust in N; one of the two is of another motor, or in other units"),
    );
}
