//! Tests on simulated oscillators, whose equation is solved in closed form (Rao, 2.6).

use std::f64::consts::TAU;

use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};

use super::taps;
use crate::series::Series;
use crate::studies::study;

/// A stand and how it was tapped and read.
struct Tapped {
    natural_hz: f64,
    damping: f64,
    rate_hz: f64,
    noise: f64,
    /// When and how hard.
    taps: Vec<(f64, f64)>,
    lasts_s: f64,
}

impl Tapped {
    /// Readings: impulse response of each tap, a slow drift, white noise.
    fn record(&self, seed: u64) -> Series {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut normal = || {
            let radius = (-2.0 * (1.0 - rng.random::<f64>()).ln()).sqrt();
            radius * (TAU * rng.random::<f64>()).cos()
        };
        let omega = TAU * self.natural_hz;
        let damped = omega * (1.0 - self.damping * self.damping).sqrt();
        let count = (self.lasts_s * self.rate_hz) as usize;
        let mut out = Series::default();
        for at in 0..count {
            let time_s = at as f64 / self.rate_hz;
            let rings = self.taps.iter().filter(|(tap_s, _)| time_s >= *tap_s);
            let value: f64 = rings
                .map(|(tap_s, size)| {
                    let since = time_s - tap_s;
                    size * (-self.damping * omega * since).exp() * (damped * since).sin()
                })
                .sum();
            out.push(
                time_s,
                7000.0 + 2.0 * time_s + value + self.noise * normal(),
            );
        }
        out
    }

    /// Share of seeds whose interval holds the truth, and the mean error in standard uncertainties,
    /// for frequency and damping.
    fn coverage(&self, seeds: u64) -> [(f64, f64); 2] {
        let mut out = [(0.0, 0.0); 2];
        for seed in 0..seeds {
            let found = taps::combined(&[self.record(seed)]).unwrap();
            assert_eq!(found.decays, self.taps.len(), "seed {seed}");
            let truths = [
                (&found.natural_hz, self.natural_hz),
                (&found.damping, self.damping),
            ];
            for (sum, (found, truth)) in out.iter_mut().zip(truths) {
                sum.0 += f64::from(u8::from(found.covers(truth))) / seeds as f64;
                sum.1 += (found.value - truth) / found.u / seeds as f64;
            }
        }
        out
    }
}

#[test]
fn a_few_taps_give_frequency_and_damping_back() {
    let stand = Tapped {
        natural_hz: 61.0,
        damping: 0.05,
        rate_hz: 1000.0,
        noise: 5.0,
        taps: vec![(0.5, 300.0), (1.3, 500.0)],
        lasts_s: 2.5,
    };
    // Errors of twenty seeds over their uncertainty: root mean square of 1 within 16 %.
    let mut squares = [0.0; 2];
    for seed in 0..20 {
        let found = taps::combined(&[stand.record(seed)]).unwrap();
        assert_eq!(found.decays, 2, "seed {seed}");
        let by_decrement = found.decrement_damping.unwrap();
        assert!((by_decrement - 0.05).abs() < 0.01, "{by_decrement}");
        squares[0] += ((found.natural_hz.value - 61.0) / found.natural_hz.u).powi(2) / 20.0;
        squares[1] += ((found.damping.value - 0.05) / found.damping.u).powi(2) / 20.0;
    }
    for square in squares {
        assert!((0.52..1.48).contains(&square.sqrt()), "{squares:?}");
    }
}

/// 95 % less and more by three standard deviations of a count in 200 seeds is what chance allows; the
/// limits asked for are tighter.
fn must_cover(name: &str, stand: &Tapped) {
    let (seeds, wider) = study(25, 200);
    let of = stand.coverage(seeds);
    for (what, (covered, bias)) in ["frequency", "damping"].iter().zip(of) {
        let inside = (covered - 0.95).abs() <= 0.03 * wider && bias.abs() < 0.2 * wider;
        assert!(
            inside,
            "{name}, {what}: {covered:.3} covered, bias {bias:.2} u"
        );
    }
}

#[test]
fn one_tap_covers_frequency_and_damping() {
    let stand = Tapped {
        natural_hz: 84.3,
        damping: 0.03,
        rate_hz: 1000.0,
        noise: 60.0,
        taps: vec![(0.5003, 4000.0)],
        lasts_s: 1.5,
    };
    must_cover("one tap", &stand);
}

#[test]
fn a_slow_recorder_and_light_damping_cover_too() {
    let stand = Tapped {
        natural_hz: 23.7,
        damping: 0.008,
        rate_hz: 93.5,
        noise: 1.0,
        taps: vec![(1.0, 40.0)],
        lasts_s: 8.0,
    };
    must_cover("slow recorder", &stand);
}

#[test]
fn several_taps_together_are_surer_and_cover() {
    let stand = |taps: Vec<(f64, f64)>| Tapped {
        natural_hz: 61.0,
        damping: 0.05,
        rate_hz: 1000.0,
        noise: 5.0,
        taps,
        lasts_s: 5.0,
    };
    let many = stand(vec![(0.5, 300.0), (1.3, 500.0), (2.4, 200.0), (3.3, 400.0)]);
    must_cover("four taps", &many);
    let one = taps::combined(&[stand(vec![(0.5, 300.0)]).record(1)]).unwrap();
    let four = taps::combined(&[many.record(1)]).unwrap();
    assert!(four.natural_hz.u < one.natural_hz.u && four.damping.u < one.damping.u);
    let by_decrement = four.decrement_damping.unwrap();
    assert!((by_decrement - 0.05).abs() < 0.005, "{by_decrement}");
}

#[test]
fn a_record_without_a_tap_rings_nowhere() {
    let quiet = Tapped {
        natural_hz: 84.3,
        damping: 0.03,
        rate_hz: 1000.0,
        noise: 60.0,
        taps: vec![],
        lasts_s: 3.0,
    };
    let rings = (0..50).filter(|seed| taps::combined(&[quiet.record(*seed)]).is_some());
    assert_eq!(rings.count(), 0);
    assert!(taps::combined(&[Series::default()]).is_none());
}
