//! Local acceleration of gravity, which turns dead weights into forces.
//!
//! Normal gravity on the WGS 84 ellipsoid by Somigliana's formula, with the linear free-air term
//! for height (NIMA TR8350.2, chapter 4; constants from memory, checked in the test against the
//! published 9.780 m/s2 at the equator, 9.832 m/s2 at the poles and 9.80620 m/s2 at 45 degrees).
//! Normal gravity differs from true gravity by up to about 1e-4 of it in rough country.

use crate::config::Site;
use crate::quantity::STANDARD_GRAVITY_M_S2;

/// Gravity and how sure it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gravity {
    /// Its value, m/s2.
    pub value_m_s2: f64,
    /// Its relative standard uncertainty.
    pub relative_u: f64,
}

/// Normal gravity at the equator, m/s2.
const EQUATOR_M_S2: f64 = 9.780_325_335_9;
/// Somigliana's constant of the WGS 84 ellipsoid.
const SOMIGLIANA_K: f64 = 0.001_931_852_652_41;
/// First eccentricity squared of the WGS 84 ellipsoid.
const ECCENTRICITY_SQUARED: f64 = 0.006_694_379_990_13;
/// Free-air gradient, 1/s2.
const FREE_AIR_PER_S2: f64 = 3.086e-6;
/// Half width, m/s2, of the limits within which gravity lies anywhere at sea level (9.780 to
/// 9.832), for a site that says nothing.
const ANYWHERE_HALF_WIDTH_M_S2: f64 = 0.027;
/// Relative standard uncertainty of normal gravity as a model of true gravity: anomalies of 50 mGal
/// are common.
const ANOMALY_RELATIVE_U: f64 = 5e-5;

/// Gravity at a site: measured, else from latitude and height, else standard gravity with the
/// spread that the surface of the Earth has.
#[must_use]
pub fn at(site: &Site) -> Gravity {
    if let Some(gravity) = &site.gravity {
        let relative_u = gravity.standard_uncertainty().unwrap_or(0.0) / gravity.si();
        return Gravity {
            value_m_s2: gravity.si(),
            relative_u,
        };
    }
    let Some(latitude) = &site.latitude else {
        let relative_u = ANYWHERE_HALF_WIDTH_M_S2 / 3.0_f64.sqrt() / STANDARD_GRAVITY_M_S2;
        return Gravity {
            value_m_s2: STANDARD_GRAVITY_M_S2,
            relative_u,
        };
    };
    let height_m = site
        .altitude
        .as_ref()
        .map_or(0.0, crate::quantity::Given::si);
    let value_m_s2 = normal_m_s2(latitude.si(), height_m);
    Gravity {
        value_m_s2,
        relative_u: ANOMALY_RELATIVE_U,
    }
}

/// Normal gravity, m/s2, at a latitude in radians and a height in metres.
#[must_use]
pub(crate) fn normal_m_s2(latitude_rad: f64, height_m: f64) -> f64 {
    let s2 = latitude_rad.sin().powi(2);
    EQUATOR_M_S2 * (1.0 + SOMIGLIANA_K * s2) / (1.0 - ECCENTRICITY_SQUARED * s2).sqrt()
        - FREE_AIR_PER_S2 * height_m
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn normal_gravity_has_its_published_values() {
        assert_relative_eq!(normal_m_s2(0.0, 0.0), 9.7803, epsilon = 5e-5);
        assert_relative_eq!(
            normal_m_s2(90.0_f64.to_radians(), 0.0),
            9.8322,
            epsilon = 5e-5
        );
        assert_relative_eq!(
            normal_m_s2(45.0_f64.to_radians(), 0.0),
            9.80620,
            epsilon = 5e-6
        );
        assert_relative_eq!(normal_m_s2(0.0, 1000.0), 9.7803 - 0.003086, epsilon = 5e-5);
    }

    #[test]
    fn a_silent_site_gets_standard_gravity_and_an_honest_spread() {
        let gravity = at(&Site::default());
        assert_relative_eq!(gravity.value_m_s2, 9.80665);
        assert_relative_eq!(gravity.relative_u, 0.0016, epsilon = 1e-4);
    }

    #[test]
    fn a_measured_gravity_keeps_its_own_uncertainty() {
        let site = Site {
            gravity: crate::quantity::given::parse("9.8 m/s2 u 0.0049 m/s2").ok(),
            ..Site::default()
        };
        let gravity = at(&site);
        assert_relative_eq!(gravity.value_m_s2, 9.8);
        assert_relative_eq!(gravity.relative_u, 0.0005, max_relative = 1e-12);
    }
}
