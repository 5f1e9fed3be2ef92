//! Rehearsals that tests begin with.

use super::*;

/// An axis that does exactly what it is told, without thrust, friction or noise.
pub fn still_axis() -> AxisTruth {
    AxisTruth {
        gain: 1.0,
        bias_deg: 0.0,
        lag_s: 0.02,
        damping_ratio: None,
        delay_s: 0.0,
        dead_band: DeadBandKind::None,
        dead_band_width_deg: 0.0,
        travel_rad: None,
        slew_rad_s: None,
        arm_m: 0.3,
        inertia_kg_m2: 0.08,
        inertia_spent_kg_m2: 0.08,
        misalignment_rad: 0.0,
        coupling: 0.0,
        damping_per_s: 0.0,
        stiffness_per_s2: 0.0,
        coulomb_rad_s2: 0.0,
        direction_noise_rad: 0.0,
        direction_drift_rad: 0.0,
        direction_drift_time_s: 1.0,
        wind_rad_s2: 0.0,
        wind_time_s: 1.0,
        hold: Hold::Free,
        release_s: 0.0,
        start_tilt_rad: 0.0,
        claims: vec![],
    }
}

fn angle_column(shows: Shows) -> Column {
    Column {
        shows,
        unit: "rad".to_owned(),
        unit_si: 1.0,
        noise_si: 0.0,
        bias_si: 0.0,
        step_si: 0.0,
        digits: 6,
        used: true,
    }
}

/// One axis, one recorder of tilt and nozzle, no motor, no cell: nothing happens in it.
pub fn still_rehearsal() -> Rehearsal {
    let columns = [
        ("tilt", Shows::Tilt("pitch".to_owned())),
        ("nozzle", Shows::Nozzle("pitch".to_owned())),
    ];
    let columns = columns.map(|(title, shows)| (title.to_owned(), angle_column(shows)));
    let stand = Recorder {
        file: "stand.csv".to_owned(),
        rate_hz: 1000.0,
        jitter_s: 0.0,
        starts_s: 0.0,
        drift_ppm: 0.0,
        dropped: 0.0,
        time: Some(TimeStamp {
            column: "t".to_owned(),
            unit: "us".to_owned(),
            unit_s: 1e-6,
            digits: 0,
            start: 0.0,
            counter_bits: None,
        }),
        align: None,
        columns: columns.into_iter().collect(),
        dirt: Dirt::default(),
    };
    Rehearsal {
        file: "REHEARSAL.toml".to_owned(),
        title: "nothing".to_owned(),
        date: None,
        seed: 1,
        fire_s: 0.1,
        lasts_s: 0.5,
        steps_per_second: 20_000.0,
        fire_line_s: 0.1,
        gravity_m_s2: 9.8,
        site_claims: vec![],
        recorders: std::iter::once(("stand".to_owned(), stand)).collect(),
        cells: IndexMap::new(),
        stand: StandTruth::default(),
        tap: None,
        motors: IndexMap::new(),
        axes: std::iter::once(("pitch".to_owned(), still_axis())).collect(),
        computer: None,
        chamber: None,
        vehicle_claims: vec![],
    }
}

/// A cell that reads 1000 counts for each newton, without noise.
pub fn plain_cell() -> CellTruth {
    CellTruth {
        curve: [0.0, 1000.0, 0.0, 0.0],
        zero_shift: 0.0,
        noise: 0.0,
        wander: 0.0,
        wander_time_s: 1.0,
        drift_per_s: 0.0,
        delay_s: 0.0,
        converts_hz: None,
        step: 1.0,
        range: (-1e6, 1e6),
        carries: None,
        points: PointsPlan {
            loads_kg: vec![0.0, 1.0, 2.0],
            runs: 1,
            down: false,
            mass_error: 0.0,
            noise: 0.0,
            hysteresis: 0.0,
            creep: 0.0,
        },
        claims: vec![],
    }
}

/// A motor of a given thrust curve, 20 g of propellant, first gas at the fire command.
pub fn plain_motor(curve: crate::series::Series) -> MotorTruth {
    MotorTruth {
        certified_path: "m.toml".into(),
        certified: Certified {
            file: "m.toml".to_owned(),
            name: "m".to_owned(),
            designation: None,
            total_impulse: None,
            average_thrust: None,
            peak_thrust: None,
            burn_time: None,
            propellant: None,
            source: None,
            thrust_curve: Some(curve),
        },
        impulse_scale: 1.0,
        time_scale: 1.0,
        delay_s: 0.0,
        lights: true,
        goes_out_s: None,
        roughness: 0.0,
        roughness_band_hz: (20.0, 120.0),
        propellant_kg: 0.02,
        offset_m: IndexMap::new(),
        claims: vec![],
        offset_claims: vec![],
    }
}
