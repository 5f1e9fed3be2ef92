//! The firing replayed: the rig seen from the side, tilting, its nozzles swivelling, a flame for each motor.
//!
//! Angles are true. The flames of all motors that may have lit are as long together, each by its share of the thrust;
//! where several may have lit and cannot be told apart there are none. As printed it stands at the instant of peak
//! thrust; the script of the page moves it with the time mark.

use maud::{Markup, html};

use crate::motors::lit::Lit;
use crate::reduce::Reduction;
use crate::render::plot::thrust::only_lit;
use crate::render::words::name_of;
use crate::series::Series;

/// Colours of the flames, as in the pictures.
const MOTORS: [&str; 4] = ["motor-a", "motor-b", "motor-c", "motor-d"];
/// Distance between two nozzles, drawing units.
const APART: f64 = 22.0;
/// Length of the flame at peak thrust, drawing units.
const FLAME: f64 = 86.0;

/// The picture; nothing without a burn, motors and an axis.
#[must_use]
pub(super) fn figure(reduction: &Reduction, caption: &str) -> Option<Markup> {
    let traces = &reduction.traces;
    let (motors, axis) = (
        reduction.result.motors.as_ref()?,
        traces.axes.values().next()?,
    );
    let shown = &traces.thrust_n;
    let (peak_s, peak_n) = shown.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
    reduction.result.burn.as_ref()?.ignition_s.as_ref()?;
    let at_peak = |series: Option<&Series>| series.and_then(|one| one.at(peak_s)).unwrap_or(0.0);
    let nozzle = at_peak(axis.nozzle_deg.as_ref().or(Some(&axis.nozzle_model_deg)));
    let tilt = at_peak(axis.tilt_deg.as_ref());
    let split = traces.motor_thrust_n.len() > 1;
    let alone = only_lit(reduction);
    let thrust = |nth: usize, name: &String| match traces.motor_thrust_n.get(name) {
        Some(own) if split => at_peak(Some(own)),
        _ if alone == Some(nth) => peak_n,
        _ => 0.0,
    };
    let may_burn = motors.values().filter(|motor| motor.lit != Lit::NotLit);
    let burning = may_burn.count().max(1) as f64;
    let count = motors.len() as f64;
    let places = motors.keys().enumerate().map(|(nth, name)| {
        let x = APART * (nth as f64 - 0.5 * (count - 1.0));
        (nth, x, name, thrust(nth, name) / peak_n * burning)
    });
    let wide = 17.0 + 0.5 * APART * (count - 1.0);
    Some(html! {
        figure.rig data-peak=(peak_n / burning) {
            figcaption { (caption) }
            svg viewBox="-170 -150 340 320" role="img" aria-label="The rig seen from the side" {
                path.ground d="M-160 165H160" {}
                path.stand d="M-70 165L0 0L70 165" {}
                g.body transform=(turn(tilt)) {
                    path.hull d=(hull(wide)) {}
                    circle.pivot cx="0" cy="0" r="6" {}
                    @for (nth, x, name, share) in places {
                        g transform=(format!("translate({x} 58)")) {
                            g.nozzle transform=(turn(-nozzle)) {
                                path.bell d="M-4 0L-7 13H7L4 0z" {}
                                path.flame d=(format!("M-6 14Q0 20 6 14Q5 50 0 {}Q-5 50 -6 14z", 14.0 + FLAME))
                                    style={ "--c:var(--" (MOTORS[nth % MOTORS.len()]) ")" }
                                    transform=(format!("translate(0 14) scale(1 {:.3}) translate(0 -14)", share.max(0.0)))
                                    data-motor=(nth) { title { (name_of(name)) } }
                            }
                        }
                    }
                }
            }
        }
    })
}

/// The rocket about its pivot, nose up.
fn hull(half: f64) -> String {
    format!(
        "M{0} 58H{half}V-70Q{half} -118 0 -140Q{0} -118 {0} -70z",
        -half
    )
}

/// Positive tilt is to the right; the drawing turns clockwise.
fn turn(angle_deg: f64) -> String {
    format!("rotate({angle_deg:.2})")
}
