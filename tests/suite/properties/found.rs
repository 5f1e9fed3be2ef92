//! Inputs that once went wrong, each as small as it could be made.

use super::own_files::tuned;
use super::small::{firing, made};
use super::whole::reduced;

/// A row of the points that stands twice: the ratio of a test had no end, and `null` stood for it.
#[test]
fn points_that_repeat_to_the_last_digit() {
    let points = "raw,mass_g\n8003,0\n8003,0\n28030,500\n47990,1000\n88010,2000\n168000,4000\n";
    for steered in [false, true] {
        let changed = [("cell-base-points.csv", points.as_bytes().to_vec())];
        reduced(firing(steered), &changed);
    }
}

/// A moment of inertia so small that one over it has no end.
#[test]
fn quantities_below_all_normal_numbers() {
    let text = &firing(true)["firing.toml"];
    for (from, to) in [("0.0665 kg m2", "5e-324 kg m2"), ("280 mm", "1e-310 mm")] {
        assert!(text.contains(from));
        let text = text.replace(from, to);
        reduced(firing(true), &[("firing.toml", text.into_bytes())]);
    }
}

/// A variance so small that its covariances cannot be: plants drawn from it were no plants.
#[test]
fn a_variance_that_its_covariances_rule_out() {
    let mut plant: serde_json::Value = serde_json::from_str(&made()["plant.json"]).unwrap();
    plant["axes"]["pitch"]["covariance"]["matrix"][0][0] = 1e-310.into();
    tuned(plant.to_string().as_bytes());
}
