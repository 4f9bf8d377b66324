//! The rigs of the repository: sound, and described by docs/model/rigs.md number by number.

use std::collections::BTreeMap;

use trimproof_plant::SolidForm;
use trimproof_plant::rig::CartridgeRig;

use super::*;

const PAGE: &str = include_str!("../../../../docs/model/rigs.md");

fn rigs() -> [RigFile; 3] {
    [KITTIWAKE, BITTERN, SANDERLING]
        .map(|text| RigFile::parse(text).expect("the repository's rigs are valid"))
}

/// Figures of one axis that the page shows: name, digits, value.
fn figures(rig: &RigFile, index: usize) -> Vec<(&'static str, usize, f64)> {
    let (axis, radius_m) = (rig.axis(index), rig.stick.grip_radius_m);
    let cartridge = axis.cartridge.cartridge();
    let mass = rig.stick.mass.properties();
    let inertia = mass.axis_inertia_kg_m2(index);
    let overturning = mass.overturning_n_m_per_rad(index);
    let stiffness = cartridge.rate_n_m_per_rad - overturning;
    let (low, high) = (axis.stops.min_deg, axis.stops.max_deg);
    let settings = rig.axis_settings(index).expect("the rig has settings");
    let (soft_low, soft_high) = (
        f64::from(settings.soft_min_mdeg) / 1000.0,
        f64::from(settings.soft_max_mdeg) / 1000.0,
    );
    let full_n_m = cartridge.torque_n_m(high.max(-low).to_radians());
    let across_deg = (high - soft_low).max(soft_high - low);
    let damping = cartridge.damping_n_m_s_per_rad + axis.friction.viscous_n_m_s_per_rad;
    let drive = &axis.drive;
    vec![
        (
            "breakout at the grip, N",
            2,
            cartridge.breakout_n_m / radius_m,
        ),
        (
            "gradient at the grip, N/deg",
            3,
            cartridge.rate_n_m_per_rad.to_radians() / radius_m,
        ),
        (
            "force at the grip, centre to stop, N",
            1,
            full_n_m / radius_m,
        ),
        ("cartridge torque, centre to stop, N·m", 2, full_n_m),
        (
            "cartridge torque, soft limit to the opposite stop, N·m",
            2,
            cartridge.torque_n_m(across_deg.to_radians()),
        ),
        (
            "drive holds at holding current, N·m",
            2,
            axis.holding_n_m(axis.driver.hold_a),
        ),
        (
            "holding margin, centre to stop",
            2,
            axis.holding_n_m(axis.driver.hold_a) / full_n_m,
        ),
        ("coil bind at, deg", 1, cartridge.bind_rad.to_degrees()),
        ("full step at the stick, deg", 3, axis.full_step_deg()),
        (
            "backlash at the stick, ± deg",
            3,
            drive.backlash_half_rad().to_degrees(),
        ),
        (
            "free play at the grip, ± mm",
            2,
            cartridge.free_play_rad * radius_m * 1000.0,
        ),
        ("drag of the unpowered drive, N·m", 2, axis.drag_n_m()),
        ("inertia about the axis, kg·m²", 4, inertia),
        (
            "weight's torque at the soft limit, N·m",
            2,
            overturning * libm::sin(soft_high.max(-soft_low).to_radians()),
        ),
        (
            "frequency on the gradient, Hz",
            2,
            libm::sqrt(stiffness / inertia) / std::f64::consts::TAU,
        ),
        (
            "damping ratio on the gradient",
            2,
            damping / (2.0 * libm::sqrt(stiffness * inertia)),
        ),
    ]
}

fn figure(rig: &RigFile, index: usize, name: &str) -> f64 {
    let found = figures(rig, index)
        .into_iter()
        .find(|(known, ..)| *known == name);
    found
        .map(|(.., value)| value)
        .expect("a figure of the list")
}

/// The design rules that the rigs were chosen by; the numbers are those of the page.
#[test]
fn the_rigs_keep_the_design_rules() {
    for rig in rigs() {
        assert_eq!(rig.advice(), Vec::<String>::new(), "{}", rig.name);
        for index in [0, 1] {
            let axis = rig.axis(index);
            let of = |name: &str| figure(&rig, index, name);
            let within = |name: &str, low: f64, high: f64| {
                let value = of(name);
                assert!(
                    value >= low && value <= high,
                    "{} {index} {name}: {value}",
                    rig.name
                );
            };
            within("breakout at the grip, N", 2.0, 4.0);
            within("force at the grip, centre to stop, N", 10.0, 30.0);
            within("holding margin, centre to stop", 1.5, 2.0);
            within("full step at the stick, deg", 0.1, 0.35);
            // 14 CFR part 60, table C2A, entry 2.a.6: ±2.5 mm.
            within("free play at the grip, ± mm", 0.1, 2.5);
            within("damping ratio on the gradient", 0.3, 0.7);
            // A fast arm's throw from centre, which the page gives as an estimate.
            let slam_rad_per_s = match rig.name.as_str() {
                "kittiwake" => 6.1,
                "bittern" => 5.0,
                _ => 4.5,
            };
            let slam_n_m = of("cartridge torque, centre to stop, N·m")
                + axis.cartridge.cartridge().damping_n_m_s_per_rad * slam_rad_per_s;
            let parked_n_m = of("drive holds at holding current, N·m");
            assert!(parked_n_m > slam_n_m, "{} {index}: {slam_n_m}", rig.name);
            // Only abuse slips the drive, but abuse does, whether the mesh's losses help it or not
            // and with the detent against it.
            let most_n_m = of("drive holds at holding current, N·m")
                / (axis.drive.efficiency * axis.drive.efficiency)
                + axis.drive.shaft_friction_n_m
                + axis.motor.detent_n_m * axis.drive.ratio();
            let across = "cartridge torque, soft limit to the opposite stop, N·m";
            // Sanderling's drives hold a slow pull across.
            assert!(
                of(across) > most_n_m || rig.name == "sanderling",
                "{} {index}: {} against {most_n_m}",
                rig.name,
                of(across)
            );
            let across_deg = (axis.stops.max_deg - axis.stops.min_deg).abs();
            assert!(of("coil bind at, deg") > across_deg);
        }
    }
    let [light, stiff, _] = rigs();
    for index in [0, 1] {
        for name in [
            "breakout at the grip, N",
            "gradient at the grip, N/deg",
            "inertia about the axis, kg·m²",
        ] {
            assert!(
                figure(&stiff, index, name) > figure(&light, index, name),
                "{name}"
            );
        }
    }
}

/// Music wire of 2.5 mm: tensile strength about 1.9 GPa, 45 % of it in shear is usual (from
/// memory).
#[test]
fn the_springs_wire_is_not_overloaded() {
    let [_, rig, _] = rigs();
    for axis in [&rig.pitch, &rig.roll] {
        let CartridgeRig::Springs(springs) = &axis.cartridge else {
            panic!("bittern has springs")
        };
        let free_play_rad = springs.free_play_deg.to_radians();
        assert!(
            springs.stress_pa(axis.cartridge.cartridge().bind_rad - free_play_rad) < 0.45 * 1.9e9
        );
    }
}

/// By hand: the seat edge's capsule is 0.0325 m (its radius and the tube's) from the stick's axis
/// at 19.3 degrees.
#[test]
fn the_seat_edge_is_met_between_soft_limit_and_stop() {
    let [_, rig, _] = rigs();
    let seat = &rig.obstacle[0];
    let SolidForm::Capsule { radius_m, .. } = seat.shape else {
        panic!("the seat edge is a capsule")
    };
    let gap_m = |deg: f64| {
        let angle = deg.to_radians();
        // Distance from the axis, the top having gone aft (towards -x) by the angle.
        let across = -seat.at_m[0] * libm::cos(angle) + seat.at_m[2] * libm::sin(angle);
        across - radius_m - rig.stick.tube_radius_m
    };
    assert!(gap_m(19.3).abs() < 1e-4, "{}", gap_m(19.3));
    assert!(gap_m(18.5) > 0.0 && gap_m(20.0) < 0.0);
}

#[test]
fn constants_have_names_of_their_own_and_finite_values() {
    let [rig, _, _] = rigs();
    let constants: BTreeMap<_, _> = rig.constants().into_iter().collect();
    assert_eq!(constants.len(), rig.constants().len());
    assert!(
        constants
            .iter()
            .all(
                |(name, value)| (name.starts_with("rig.") || name.starts_with("promise."))
                    && value.is_finite()
            )
    );
    assert_eq!(constants["rig.tick_s"], 0.002);
    // 1.8 degrees over 1:6; 1.26/(√2·2.8)·3.75·6·0.97.
    assert!((constants["rig.pitch.full_step_deg"] - 0.3).abs() < 1e-15);
    assert!((constants["rig.pitch.holding_n_m"] - 6.944672).abs() < 1e-6);
    // 0.78 + 10.6·(δ − 0.15°) reaches it at 33.47 degrees.
    assert!((constants["rig.pitch.slip_deflection_deg"] - 33.472).abs() < 1e-3);
    assert!((constants["rig.pitch.backlash_deg"] - (30e-6_f64 / 0.036).to_degrees()).abs() < 1e-12);
    // 6e5 N/m on 36 mm; 0.32 + 0.08 N·m·s/rad; the grip leans fore: 9.80665·1.23·0.0005 N·m on 0.33
    // m.
    assert!((constants["rig.pitch.mesh_n_m_per_deg"] - 777.6_f64.to_radians()).abs() < 1e-12);
    assert!((constants["rig.pitch.damping_n_m_s_per_deg"] - 0.4_f64.to_radians()).abs() < 1e-15);
    assert!((constants["rig.pitch.lean_n"] + 9.80665 * 1.23 * 0.0005 / 0.33).abs() < 1e-12);
    assert_eq!(constants["rig.roll.lean_n"], 0.0);
    // 8 ms and 350 ms less 50 ms.
    assert!((constants["rig.hat_run_lost_s"] - 0.308).abs() < 1e-12);
    let [_, _, skewed] = rigs();
    let constants: BTreeMap<_, _> = skewed.constants().into_iter().collect();
    // Times are whole ticks of 2.5 ms, rounded up: 12 ms are five of them.
    assert!((constants["rig.roll.sensor_bad_s"] - 0.0125).abs() < 1e-15);
    assert!((constants["rig.pitch.sensor_bad_s"] - 0.015).abs() < 1e-15);
    // The count is as large whichever way the reading runs; the controller's has its sign.
    assert!((constants["rig.roll.sensor_step_deg"] - 77.0 / 16383.0).abs() < 1e-15);
    assert!((constants["rig.roll.sensor_deg_per_count"] + 77.0 / 16383.0).abs() < 1e-15);
    // The centre of gravity is behind the pitch axis and to the right of the roll axis.
    assert!(constants["rig.pitch.lean_n"] > 0.0 && constants["rig.roll.lean_n"] > 0.0);
}

/// Every number of both files with its path, pitch and roll in one entry (`A.`), as text.
fn numbers(text: &str) -> BTreeMap<String, Vec<f64>> {
    fn walk(path: &str, value: &toml::Value, found: &mut Vec<(String, Vec<f64>)>) {
        let number = |value: &toml::Value| {
            value
                .as_float()
                .or(value.as_integer().map(|whole| whole as f64))
        };
        match value {
            toml::Value::Table(table) => {
                for (key, value) in table {
                    walk(
                        &if path.is_empty() {
                            key.clone()
                        } else {
                            format!("{path}.{key}")
                        },
                        value,
                        found,
                    );
                }
            }
            toml::Value::Array(array) => match array.iter().map(number).collect::<Option<Vec<_>>>()
            {
                Some(numbers) => found.push((path.to_owned(), numbers)),
                None => {
                    for (index, value) in array.iter().enumerate() {
                        walk(&format!("{path}[{index}]"), value, found);
                    }
                }
            },
            other => found.extend(number(other).map(|number| (path.to_owned(), vec![number]))),
        }
    }
    let value: toml::Value = toml::from_str(text).expect("the repository's rigs are TOML");
    let mut found = Vec::new();
    walk("", &value, &mut found);
    let mut numbers: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for (path, values) in found {
        let parts: Vec<_> = path
            .split('.')
            .map(|part| {
                if part == "pitch" || part == "roll" {
                    "A"
                } else {
                    part
                }
            })
            .collect();
        numbers.entry(parts.join(".")).or_default().extend(values);
    }
    numbers
}

/// The page's rows `| `key` | kittiwake | bittern | sanderling | why |`: values of pitch and roll
/// apart by ` / ` where they differ.
fn rows() -> BTreeMap<&'static str, [Vec<f64>; 3]> {
    let values = |cell: &str| {
        cell.split([',', '/'])
            .filter_map(|value| value.trim().parse().ok())
            .collect()
    };
    PAGE.lines()
        .filter_map(|line| {
            let cells: Vec<_> = line.split('|').map(str::trim).collect();
            let key = cells.get(1)?.strip_prefix('`')?.strip_suffix('`')?;
            let columns = [2, 3, 4].map(|cell| cells.get(cell).map(|text| values(text)));
            Some((key, columns.map(Option::unwrap_or_default)))
        })
        .collect()
}

/// A row of one value stands for both axes; else its values must be the file's, one by one.
fn agrees(row: &[f64], file: &[f64]) -> bool {
    row == file
        || (!row.is_empty()
            && file.len() == 2 * row.len()
            && file.chunks(row.len()).all(|half| half == row))
}

#[test]
fn the_page_has_every_number_of_the_files_and_no_other() {
    let rows = rows();
    for (column, text) in [KITTIWAKE, BITTERN, SANDERLING].into_iter().enumerate() {
        let numbers = numbers(text);
        for (key, file) in &numbers {
            let row = rows.get(key.as_str()).map(|row| &row[column]);
            assert!(
                row.is_some_and(|row| agrees(row, file)),
                "docs/model/rigs.md: `{key}` {row:?}, file {file:?}"
            );
        }
        for (key, row) in &rows {
            assert!(
                row[column].is_empty() || numbers.contains_key(*key),
                "docs/model/rigs.md: `{key}` is in no file"
            );
        }
    }
}

/// A copy-paste between the axes must show somewhere: no key of an axis has one value for both.
#[test]
fn nothing_of_sanderlings_roll_is_its_pitchs() {
    let numbers = numbers(SANDERLING);
    let of_an_axis = numbers
        .iter()
        .filter(|(key, _)| key.split('.').any(|part| part == "A"));
    let mut both = 0;
    for (key, values) in of_an_axis {
        // A key that only one kind of cartridge has stands there once.
        if let [pitch, roll] = values[..] {
            assert!(pitch != roll, "`{key}` is `{pitch}` in both");
            both += 1;
        }
    }
    assert!(both >= 60, "{both} keys were compared");
}

#[test]
fn the_page_shows_the_figures_that_follow() {
    let rigs = rigs();
    let columns: Vec<_> = rigs
        .iter()
        .flat_map(|rig| [figures(rig, 0), figures(rig, 1)])
        .collect();
    let mut missing = String::new();
    for (line, (name, digits, _)) in columns[0].iter().enumerate() {
        let cells: Vec<_> = columns
            .iter()
            .map(|column| format!("{:.*}", *digits, column[line].2))
            .collect();
        let row = format!("| {name} | {} |", cells.join(" | "));
        if !PAGE.contains(&row) {
            missing.push_str(&row);
            missing.push('\n');
        }
    }
    assert!(
        missing.is_empty(),
        "docs/model/rigs.md lacks these rows:\n{missing}"
    );
}

/// No limit, stop or sensor range of sanderling is symmetric, and its controller has its own times.
#[test]
fn sanderling_is_skewed_and_has_times_of_its_own() {
    let [light, stiff, rig] = rigs();
    for axis in [&rig.pitch, &rig.roll] {
        assert!(axis.stops.min_deg != -axis.stops.max_deg);
        assert!(axis.sensor.min_deg != -axis.sensor.max_deg);
    }
    let settings = rig.controller.expect("the rig has settings");
    for settings in [&settings.pitch, &settings.roll] {
        assert!(settings.soft_min_mdeg != -settings.soft_max_mdeg);
    }
    assert!(rig.roll.sensor.max_deg < rig.roll.sensor.min_deg);
    let whole = |rig: &RigFile| {
        let c = rig.controller.expect("the rig has settings");
        [
            u32::from(c.tick_hz),
            u32::from(c.generator_hz),
            c.supply_min_mv.into(),
            c.supply_lost_mv.into(),
            c.supply_steady_ms.into(),
            c.debounce_press_ms.into(),
            c.debounce_let_go_ms.into(),
            c.hat_hold_delay_ms.into(),
            c.hat_stuck_ms,
            c.release_stuck_ms,
            c.hat_conflict_ms.into(),
            c.command_timeout_ticks.into(),
            c.ticks_lost_max.into(),
        ]
    };
    for other in [&light, &stiff] {
        for (own, others) in whole(&rig).iter().zip(whole(other)) {
            assert!(*own != others, "{own} is `{}`'s as well", other.name);
        }
    }
}
