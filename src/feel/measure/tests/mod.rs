//! Both rigs measured, against the closed form of their numbers.

use super::*;

const KITTIWAKE: &str = include_str!("../../../../scenarios/rigs/kittiwake.toml");
const BITTERN: &str = include_str!("../../../../scenarios/rigs/bittern.toml");

/// Standard gravity, m/s².
const GRAVITY: f64 = 9.806_65;
/// Seat compliance of the cartridges in the plant, rad: the preload builds up over it.
const SEAT_RAD: f64 = 2.0e-3;

fn rig(text: &str) -> RigFile {
    RigFile::parse(text).expect("the repository's rigs are valid")
}

fn within(label: &str, value: f64, low: f64, high: f64) {
    assert!(
        value >= low && value <= high,
        "{label}: {value} is not within {low} to {high}"
    );
}

/// What the drive yields by, N·m/rad at the trim shaft: holding field and mesh in series. The
/// field's torque is a sine of the electrical angle, whose slope at rest is peak · rotor teeth.
fn drive_n_m_per_rad(rig: &RigFile, index: usize) -> f64 {
    let axis = rig.axis(index);
    let ratio = axis.drive.ratio();
    let peak_n_m = axis.motor.torque_constant_n_m_per_a() * axis.driver.hold_a;
    let field = peak_n_m * f64::from(axis.motor.rotor_teeth) * ratio * ratio;
    let radius_m = axis.drive.trim_pitch_radius_m;
    let mesh = axis.drive.mesh_stiffness_n_per_m * radius_m * radius_m;
    field * mesh / (field + mesh)
}

/// Sweeps against the rig's numbers; the bounds are what friction, seats and drive can make of
/// them.
fn holds_by_closed_form(rig: &RigFile, measured: &Measured, figures: &Figures) {
    let radius_m = rig.stick.grip_radius_m;
    let mass = rig.stick.mass.properties();
    // The weight of a leaning stick pulls one way: it is not breakout.
    let lean_n = mass.inner_mass_kg * GRAVITY * mass.inner_cg_m[0].abs() / radius_m;
    for (index, axis) in AxisName::ALL.into_iter().enumerate() {
        let parts = rig.axis(index);
        let cartridge = parts.cartridge.cartridge();
        let find = |condition| {
            figures
                .sweeps
                .iter()
                .find(|sweep| sweep.axis == axis && sweep.condition == condition)
                .expect("every condition was swept")
        };
        let label = |what: &str| format!("{} {} {what}", rig.name, axis.name());
        let held = find(Condition::Held);
        let damping_n = measured.damping_n[0][index];
        let drive = drive_n_m_per_rad(rig, index);
        let series = cartridge.rate_n_m_per_rad * drive / (cartridge.rate_n_m_per_rad + drive);
        let slope = (series - mass.overturning_n_m_per_rad(index)).to_radians() / radius_m;
        let friction_n = parts.friction.coulomb_n_m / radius_m + damping_n;
        let stiction_n = parts.friction.stiction_n_m / radius_m + damping_n;
        let spring_n = cartridge.breakout_n_m / radius_m;
        let seat_n = cartridge.rate_n_m_per_rad * SEAT_RAD / radius_m;
        let play_deg =
            2.0 * (cartridge.free_play_rad + parts.drive.backlash_half_rad()).to_degrees();
        for side in [0, 1] {
            within(
                &label("breakout"),
                held.breakout_n[side],
                spring_n + friction_n - seat_n - lean_n,
                spring_n + stiction_n + lean_n,
            );
            // 1 %: the field's sine bends, and so does the weight's.
            let gradients = [
                Some(held.first_inch_n_per_deg[side]),
                held.beyond_n_per_deg[side],
            ];
            for found in gradients.into_iter().flatten() {
                within(&label("gradient"), found, 0.99 * slope, 1.01 * slope);
            }
            // It rests where friction balances the seat, at the latest at the end of the seat.
            within(
                &label("centring"),
                held.centring_error_deg[side].abs(),
                0.0,
                0.5 * play_deg + SEAT_RAD.to_degrees(),
            );
            for condition in Condition::ALL {
                let end_deg = [parts.stops.min_deg, parts.stops.max_deg][side];
                // Bittern's seat edge is met before the aft stop, at 19.3 degrees
                // (docs/model/rigs.md).
                let end_deg = if rig.name == "bittern" && end_deg == 20.0 {
                    19.3
                } else {
                    end_deg
                };
                let found = find(condition).stop_deg[side];
                within(&label("stop"), found, end_deg - 0.08, end_deg + 0.08);
            }
            let end_rad = held.stop_deg[side].abs().to_radians() - (0.5 * play_deg).to_radians();
            let most_n = spring_n + friction_n + slope * end_rad.to_degrees();
            within(
                &label("largest"),
                held.largest_n[side],
                0.96 * most_n,
                1.01 * most_n,
            );
        }
        // The loaded mesh rubs as well, 3 % of a force that hardly moves.
        within(
            &label("friction"),
            held.friction_n,
            friction_n,
            1.1 * friction_n,
        );
        // A foot is known to the spacing of the readings, 0.02 degrees, on a flank of few of them.
        within(
            &label("free play"),
            held.free_play_deg,
            play_deg - 0.02,
            1.03 * play_deg,
        );
        assert!(held.discontinuities.is_empty() && held.slipped_at_deg.is_none());
        // Limp, the hand drags pivot and drive: no less than the pivot alone, no more than both
        // with the detent's peaks.
        for condition in [Condition::Released, Condition::Unpowered] {
            let drag_n = (parts.friction.stiction_n_m + parts.drag_n_m()) / radius_m + damping_n;
            let found = find(condition).friction_n;
            within(
                &label("drag"),
                found,
                parts.friction.coulomb_n_m / radius_m,
                drag_n,
            );
            // The hand meets drag and weight at worst, and no less than the mean and what a crest
            // adds.
            let limp = find(condition);
            let ripple = limp.ripple.expect("a limp stick ripples");
            let detent_n = parts.motor.detent_n_m * parts.drive.ratio() / radius_m;
            within(
                &label("ripple"),
                ripple.peak_to_peak_n,
                detent_n,
                // The rotor that jumps can push the stick ahead, with no more than the hand pulls
                // it at worst.
                2.0 * drag_n,
            );
            let [weight_n, worst_n] = [
                mass.inner_mass_kg * GRAVITY * mass.inner_cg_m[2].abs() / radius_m
                    * libm::sin(held.stop_deg[1].to_radians()),
                limp.largest_n[0].max(limp.largest_n[1]),
            ];
            within(
                &label("worst"),
                worst_n,
                // Of a crest and a trough one at least is as far off the mean as the other is not.
                limp.friction_n + 0.9 * (ripple.peak_to_peak_n - ripple.peak_n),
                drag_n + lean_n + weight_n,
            );
        }
        let rate = f64::from(rig.axis_settings(index).unwrap().nudge_rate_mdeg_per_s) / 1000.0;
        let found = figures.trim_rate_deg_per_s[index].expect("the trim rate was measured");
        within(&label("trim rate"), found, 0.995 * rate, 1.005 * rate);
        let inertia = mass.axis_inertia_kg_m2(index);
        let mass_kg = figures.effective_mass_kg[index].expect("the twin knows its mass");
        within(
            &label("mass"),
            mass_kg * radius_m * radius_m,
            0.999 * inertia,
            1.001 * inertia,
        );
    }
}

/// Responses: displaced as asked, back within the free play, both directions alike to what lean and
/// stiction make of it.
fn responses_settle(rig: &RigFile, figures: &Figures) {
    assert_eq!(figures.responses.len(), 4, "{}", rig.name);
    for response in &figures.responses {
        let parts = rig.axis(response.axis.index());
        let stop_deg = if response.initial_deg > 0.0 {
            parts.stops.max_deg
        } else {
            parts.stops.min_deg
        };
        within("displacement", response.initial_deg / stop_deg, 0.25, 0.5);
        let play_deg = (parts.cartridge.cartridge().free_play_rad
            + parts.drive.backlash_half_rad())
        .to_degrees();
        within(
            "rest",
            response.steady_deg.abs(),
            0.0,
            play_deg + SEAT_RAD.to_degrees(),
        );
        assert!(response.p0_s.is_some() && !response.overshoots_deg.is_empty());
        // The preload makes it quicker than the linear gradient alone would: a quarter of that
        // period is the most.
        let inertia = rig
            .stick
            .mass
            .properties()
            .axis_inertia_kg_m2(response.axis.index());
        let period_s =
            std::f64::consts::TAU * (inertia / parts.cartridge.cartridge().rate_n_m_per_rad).sqrt();
        within(
            "P0",
            response.p0_s.unwrap_or_default(),
            0.1 * period_s,
            0.3 * period_s,
        );
    }
}

#[test]
fn both_rigs_measure_as_their_numbers_say() {
    for text in [KITTIWAKE, BITTERN] {
        let rig = rig(text);
        let measured = measure(&rig, &mut |_| true).expect("the twin can be measured");
        let (figures, notes) = measured.figures(&rig);
        holds_by_closed_form(&rig, &measured, &figures);
        responses_settle(&rig, &figures);
        assert_eq!(measured.notes, Vec::<String>::new());
        assert_eq!(measured.slips, []);
        let in_the_way: Vec<_> = notes
            .iter()
            .filter(|note| note.contains("seat edge"))
            .collect();
        assert_eq!(
            in_the_way.len(),
            usize::from(rig.name == "bittern"),
            "{notes:?}"
        );
        assert_eq!(notes.len(), in_the_way.len(), "{notes:?}");
    }
}

#[test]
fn a_sweep_that_slips_the_motor_says_where() {
    let text = KITTIWAKE
        .replacen("run_a = 3.75", "run_a = 1.5", 1)
        .replacen("hold_a = 3.65", "hold_a = 1.5", 1);
    let rig = rig(&text);
    let piece = Job::Sweep(AxisName::Pitch, Condition::Held)
        .run(&rig, &mut |_| true)
        .expect("the twin can be measured");
    let FoundPiece::Sweep(_, Some(slip)) = &piece.found else {
        panic!("it must slip: {:?}", piece.notes)
    };
    // Between what the drive holds with the mesh's losses against it, and with them, the detent and
    // the shaft for it.
    let axis = &rig.pitch;
    let (cartridge, efficiency) = (axis.cartridge.cartridge(), axis.drive.efficiency);
    let holding_n_m = axis.holding_n_m(1.5);
    let most_n_m = holding_n_m / (efficiency * efficiency)
        + axis.drive.shaft_friction_n_m
        + axis.motor.detent_n_m * axis.drive.ratio();
    let lost_deg = axis.drive.backlash_half_rad().to_degrees() + axis.full_step_deg();
    within(
        "slip",
        slip.at_deg,
        cartridge.deflection_rad(holding_n_m).to_degrees(),
        cartridge.deflection_rad(most_n_m).to_degrees() + lost_deg,
    );
    assert_ne!(slip.lost_full_steps, 0);
    assert_eq!(slip.lost_full_steps % 4, 0);
    assert!(
        piece.notes[0].starts_with("pitch held: the motor slipped at 11."),
        "{:?}",
        piece.notes
    );
}

#[test]
fn a_twin_that_never_holds_is_an_error_that_says_why() {
    let rig = rig(&KITTIWAKE.replacen("volts = 24.0", "volts = 18.0", 1));
    let error = Job::TrimRate(AxisName::Roll).run(&rig, &mut |_| true);
    assert_eq!(
        error.expect_err("18 V are too few").to_string(),
        "the controller is `limp` and not `holding` 20 s after it should, with the faults supply_low"
    );
}

#[test]
fn the_caller_can_stop_it_and_pieces_are_counted() {
    let rig = rig(KITTIWAKE);
    let mut ticks = 0;
    let stopped = measure(&rig, &mut |_| {
        ticks += 1;
        ticks < 10
    });
    assert_eq!(stopped, Err(MeasureError::Stopped));
    assert_eq!(ticks, 10);
    assert_eq!(
        assemble(&rig, Vec::new()),
        Err(MeasureError::Pieces { got: 0, wanted: 12 })
    );
}
