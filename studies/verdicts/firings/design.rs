//! Invented motor designs of the classes B to G, and their certified-motor files.
//! A curve is given as shares of burn time and of relative thrust and scaled to its stated impulse.

use std::fmt::Write as _;

#[derive(Clone, Debug)]
pub(super) struct Design {
    pub(super) name: &'static str,
    pub(super) designation: &'static str,
    pub(super) curve: Vec<[f64; 2]>,
    pub(super) propellant_g: f64,
}

const SPIKE: &[[f64; 2]] = &[
    [0.0, 0.0],
    [0.03, 0.9],
    [0.07, 2.0],
    [0.11, 2.3],
    [0.16, 2.0],
    [0.24, 1.25],
    [0.36, 1.0],
    [0.6, 0.93],
    [0.8, 0.88],
    [0.9, 0.75],
    [0.95, 0.4],
    [1.0, 0.0],
];
const NEUTRAL: &[[f64; 2]] = &[
    [0.0, 0.0],
    [0.015, 0.6],
    [0.03, 0.9],
    [0.08, 1.0],
    [0.3, 1.05],
    [0.6, 1.03],
    [0.85, 0.98],
    [0.93, 0.7],
    [0.97, 0.3],
    [1.0, 0.0],
];
const PROGRESSIVE: &[[f64; 2]] = &[
    [0.0, 0.0],
    [0.02, 0.6],
    [0.05, 0.75],
    [0.3, 0.95],
    [0.6, 1.25],
    [0.78, 1.45],
    [0.86, 1.3],
    [0.93, 0.6],
    [1.0, 0.0],
];
const REGRESSIVE: &[[f64; 2]] = &[
    [0.0, 0.0],
    [0.01, 1.0],
    [0.03, 1.5],
    [0.08, 1.62],
    [0.25, 1.42],
    [0.5, 1.02],
    [0.75, 0.62],
    [0.9, 0.33],
    [1.0, 0.0],
];
const HUMP: &[[f64; 2]] = &[
    [0.0, 0.0],
    [0.015, 0.65],
    [0.04, 0.95],
    [0.15, 1.1],
    [0.35, 1.4],
    [0.5, 1.38],
    [0.65, 1.1],
    [0.8, 0.7],
    [0.92, 0.25],
    [1.0, 0.0],
];

/// Name, designation, impulse in N s, burn time in s, propellant in g, shape.
type Row = (
    &'static str,
    &'static str,
    f64,
    f64,
    f64,
    &'static [[f64; 2]],
);
const ROWS: &[Row] = &[
    ("Linnet 18", "B5-4", 4.6, 0.92, 5.9, SPIKE),
    ("Dunlin 18", "C7-4", 8.9, 1.28, 11.0, SPIKE),
    ("Merlin 24", "D10-5", 17.2, 1.70, 19.5, SPIKE),
    ("Tern 24", "D21-6", 18.6, 0.88, 9.8, REGRESSIVE),
    ("Petrel 24", "E13-5", 29.1, 2.25, 33.0, NEUTRAL),
    ("Avocet 24", "E26-6", 34.5, 1.31, 18.0, REGRESSIVE),
    ("Gannet 29", "F24-6", 55.0, 2.28, 28.6, HUMP),
    ("Skua 29", "F41-7", 68.0, 1.65, 34.0, PROGRESSIVE),
    ("Osprey 29", "G38-7", 98.0, 2.55, 51.0, HUMP),
    ("Harrier 29", "G63-8", 113.0, 1.80, 58.0, NEUTRAL),
];

pub(super) fn designs() -> Vec<Design> {
    ROWS.iter().map(|row| build(*row)).collect()
}

fn build((name, designation, impulse, burn_time, propellant_g, shape): Row) -> Design {
    let scale = impulse / (area(shape) * burn_time);
    // Rounded as a certified file would print it, so that file and truth mean the same curve.
    let curve = shape
        .iter()
        .map(|p| [round(p[0] * burn_time, 1e3), round(p[1] * scale, 1e2)])
        .collect();
    Design {
        name,
        designation,
        curve,
        propellant_g,
    }
}

fn round(x: f64, per_unit: f64) -> f64 {
    (x * per_unit).round() / per_unit
}

fn area(points: &[[f64; 2]]) -> f64 {
    points
        .windows(2)
        .map(|w| (w[1][0] - w[0][0]) * (w[0][1] + w[1][1]) / 2.0)
        .sum()
}

impl Design {
    pub(super) fn impulse(&self) -> f64 {
        area(&self.curve)
    }
    pub(super) fn peak(&self) -> f64 {
        self.curve.iter().fold(0.0, |m, p| p[1].max(m))
    }
    pub(super) fn burn_time(&self) -> f64 {
        self.curve.last().map_or(0.0, |p| p[0])
    }
    /// The same with a foot before it and a tail behind it, each so high as a share of the peak and so long as a share of the burn.
    pub(super) fn with_feet(&self, foot: [f64; 2], tail: [f64; 2]) -> Self {
        let (peak, burn) = (self.peak(), self.burn_time());
        let (before, after) = (foot[1] * burn, tail[1] * burn);
        let mut curve = vec![[0.0, 0.0], [0.1 * before, foot[0] * peak]];
        let beyond = |p: &&[f64; 2]| p[1] >= 1.3 * foot[0].max(tail[0]) * peak;
        let rise = self.curve.iter().position(|p| beyond(&p)).unwrap_or(0);
        let fall = self.curve.iter().rposition(|p| beyond(&p)).unwrap_or(0);
        curve.push([before, 1.2 * foot[0] * peak]);
        let high = self.curve.get(rise..=fall).unwrap_or_default();
        curve.extend(high.iter().map(|p| [p[0] + before + 0.01 * burn, p[1]]));
        let end = curve.last().map_or(0.0, |p| p[0]) + 0.03 * burn;
        curve.push([end, 1.2 * tail[0] * peak]);
        curve.push([end + after, 0.6 * tail[0] * peak]);
        curve.push([end + 1.1 * after, 0.0]);
        for p in &mut curve {
            *p = [round(p[0], 1e3), round(p[1], 1e2)];
        }
        Self {
            curve,
            ..self.clone()
        }
    }
    /// Certified thrust; 0 outside the curve.
    pub(super) fn thrust(&self, time: f64) -> f64 {
        let after = self.curve.partition_point(|p| p[0] <= time);
        if after == 0 || after >= self.curve.len() {
            return 0.0;
        }
        let (a, b) = (self.curve[after - 1], self.curve[after]);
        a[1] + (b[1] - a[1]) * (time - a[0]) / (b[0] - a[0])
    }
    /// Of another impulse class (beyond 0.7 to 1.4 of this impulse).
    pub(super) fn differs(&self, other: &Self) -> bool {
        !(0.7..=1.4).contains(&(other.impulse() / self.impulse()))
    }
    pub(super) fn file(&self) -> String {
        format!("{}.toml", self.name.to_lowercase().replace(' ', "-"))
    }
    pub(super) fn text(&self) -> String {
        let mut s = String::from("# An invented motor.\n");
        let _ = writeln!(
            s,
            "name = \"{}\"\ndesignation = \"{}\"",
            self.name, self.designation
        );
        let _ = writeln!(s, "total_impulse = \"{:.1} N s\"", self.impulse());
        let _ = writeln!(
            s,
            "average_thrust = \"{:.1} N\"",
            self.impulse() / self.burn_time()
        );
        let _ = writeln!(
            s,
            "peak_thrust = \"{:.1} N\"\nburn_time = \"{:.2} s\"",
            self.peak(),
            self.burn_time()
        );
        let _ = writeln!(
            s,
            "propellant = \"{:.1} g\"\nsource = \"invented\"",
            self.propellant_g
        );
        let points: Vec<_> = self
            .curve
            .iter()
            .map(|p| format!("[{:.3}, {:.2}]", p[0], p[1]))
            .collect();
        let _ = writeln!(s, "thrust_curve = [{}]", points.join(", "));
        s
    }
}
