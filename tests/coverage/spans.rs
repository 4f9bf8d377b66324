//! Finds what happened in a run, from its rows and from what went over the controller's line.

use trimproof_io::{AXES, CurrentLevel};
use trimproof_plant::rig::AxisRig;

use crate::observe::Recording;

/// Axis names as they stand in the tables.
pub const AXIS: [&str; AXES] = ["pitch", "roll"];
/// A supply that stays low for so long is lost, else it dips, s.
const LOST_S: f64 = 0.5;
/// Below the rated supply by so much, V: more than any sag under load.
const LOW_V: f64 = 2.0;
/// A reading that stands still for so many ticks is stuck: the noise of every rig is more than a
/// count.
const STUCK_ROWS: usize = 20;
/// Rows between two wrong readings that belong to one fault.
const JOIN_ROWS: usize = 10;
/// A push is more than this, N: below it lies what a hand that lets go leaves.
const PUSH_N: f64 = 0.05;

/// Something that went on from one row to another, both included.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Span {
    /// What happened, as it stands in the table of states.
    pub event: &'static str,
    /// Which part it was about, as it stands in the table of faults: axis and direction or value.
    /// Empty if it is no fault.
    pub detail: String,
    /// First row.
    pub from: usize,
    /// Last row.
    pub to: usize,
}

/// Everything that happened.
pub fn spans(run: &Recording) -> Vec<Span> {
    let mut found = Vec::new();
    supply(run, &mut found);
    switches(run, &mut found);
    hand(run, &mut found);
    line(run, &mut found);
    for axis in 0..AXES {
        sensor(run, axis, &mut found);
        drive(run, axis, &mut found);
    }
    found
}

/// Runs of rows for which `is` holds, both ends included.
fn stretches(rows: usize, is: impl Fn(usize) -> bool) -> Vec<(usize, usize)> {
    let mut found: Vec<(usize, usize)> = Vec::new();
    for row in 0..rows {
        if !is(row) {
            continue;
        }
        match found.last_mut() {
            Some((_, to)) if *to + 1 == row => *to = row,
            _ => found.push((row, row)),
        }
    }
    found
}

/// The same, with gaps of up to `gap` rows bridged.
fn joined(stretches: Vec<(usize, usize)>, gap: usize) -> Vec<(usize, usize)> {
    let mut found: Vec<(usize, usize)> = Vec::new();
    for (from, to) in stretches {
        match found.last_mut() {
            Some((_, last)) if from - *last <= gap => *last = to,
            _ => found.push((from, to)),
        }
    }
    found
}

fn push(found: &mut Vec<Span>, event: &'static str, (from, to): (usize, usize)) {
    found.push(Span {
        event,
        detail: String::new(),
        from,
        to,
    });
}

fn supply(run: &Recording, found: &mut Vec<Span>) {
    let rated_v = run.rig.supply.volts;
    let least_v = f64::from(
        run.rig
            .settings()
            .expect("the rig has settings")
            .supply_min_mv,
    ) / 1000.0;
    let lost_rows = (LOST_S / run.rig.tick_s()) as usize;
    for (from, to) in stretches(run.rows.len(), |n| run.rows[n].supply_v < rated_v - LOW_V) {
        let lowest = run.rows[from..=to]
            .iter()
            .fold(f64::INFINITY, |low, row| low.min(row.supply_v));
        if to - from < lost_rows {
            push(found, "supply dip", (from, to));
        } else if lowest < least_v {
            push(found, "supply lost", (from, to));
        }
    }
}

fn switches(run: &Recording, found: &mut Vec<Span>) {
    type Level = fn(&trimproof_io::Switches) -> bool;
    let levels: [(&'static str, Level); 6] = [
        ("force trim off", |s| !s.force_trim),
        ("release pressed", |s| s.release),
        ("hat fore", |s| s.hat_fore),
        ("hat aft", |s| s.hat_aft),
        ("hat left", |s| s.hat_left),
        ("hat right", |s| s.hat_right),
    ];
    for (event, level) in levels {
        for span in stretches(run.rows.len(), |n| level(&run.rows[n].switches)) {
            push(found, event, span);
            let after = span.1 + 1;
            if after < run.rows.len() {
                match event {
                    "force trim off" => push(found, "force trim on", (after, after)),
                    "release pressed" => push(found, "release let go", (after, after)),
                    _ => {}
                }
            }
        }
    }
}

fn hand(run: &Recording, found: &mut Vec<Span>) {
    for span in stretches(run.rows.len(), |n| run.rows[n].hand.gripping) {
        push(found, "hand grips", span);
        if span.1 + 1 < run.rows.len() {
            push(found, "hand lets go", (span.1 + 1, span.1 + 1));
        }
    }
    let pushed = |n: usize| {
        let row = &run.rows[n];
        !row.hand.gripping && row.axis.iter().any(|axis| axis.grip_force_n.abs() > PUSH_N)
    };
    for span in stretches(run.rows.len(), pushed) {
        push(found, "hand pushes", span);
    }
}

fn line(run: &Recording, found: &mut Vec<Span>) {
    for span in stretches(run.rows.len(), |n| run.answers[n].is_none()) {
        push(found, "link gap", span);
    }
    for &reset in &run.resets {
        push(found, "controller reset", (reset, reset));
    }
}

/// Wrong readings of a sensor.
fn sensor(run: &Recording, axis: usize, found: &mut Vec<Span>) {
    let rig = &run.rig.axis(axis).sensor;
    let full = i32::try_from(rig.full_scale()).unwrap_or(i32::MAX);
    let counts = |n: usize| run.rows[n].axis[axis].sensor_counts;
    let sound = |n: usize| i32::from(rig.counts(rig.signal_deg(run.rows[n].axis[axis].stick_deg)));
    let margin = full / 20;
    let open = |n: usize| counts(n) == full && sound(n) < full - margin;
    let short = |n: usize| counts(n) == 0 && sound(n) > margin;
    let rows = run.rows.len();
    let mut spoken = vec![false; rows];
    let mut note = |event, detail: &str, (from, to): (usize, usize), spoken: &mut Vec<bool>| {
        spoken[from..=to].fill(true);
        found.push(Span {
            event,
            detail: format!("{} {detail}", AXIS[axis]),
            from,
            to,
        });
    };
    for span in stretches(rows, open) {
        note("sensor open", "open", span, &mut spoken);
    }
    for span in stretches(rows, short) {
        note("sensor short", "short", span, &mut spoken);
    }
    let same = |n: usize| n > 0 && counts(n) == counts(n - 1) && !spoken[n];
    let still: Vec<_> = stretches(rows, same)
        .into_iter()
        .filter(|(from, to)| to - from >= STUCK_ROWS)
        .collect();
    for span in still {
        note("sensor stuck", "stuck", span, &mut spoken);
    }
    // What is left is off by an angle, for good or to and fro. Degrees, whichever way the reading
    // runs.
    let sense = (rig.max_deg - rig.min_deg).signum() * rig.step_deg();
    let off_deg = |n: usize| f64::from(counts(n) - sound(n)) * sense;
    let off = |n: usize| {
        let row = &run.rows[n].axis[axis];
        let late_s = rig.latency_s + 2.0 * run.rig.tick_s();
        let way_deg = row.stick_rate_deg_per_s.abs() * late_s;
        !spoken[n] && off_deg(n).abs() > 6.0 * rig.noise_deg + 2.0 * rig.step_deg() + way_deg
    };
    let wrong = joined(stretches(rows, off), JOIN_ROWS);
    for (from, to) in wrong {
        let errors: Vec<f64> = (from..=to).map(off_deg).collect();
        let mean = errors.iter().sum::<f64>() / errors.len() as f64;
        let spread = errors.iter().map(|x| (x - mean).abs()).sum::<f64>() / errors.len() as f64;
        if mean.abs() < 3.0 * spread {
            note("sensor noise", "noise", (from, to), &mut spoken);
        } else if mean > 0.0 {
            note("sensor jump", "jump +", (from, to), &mut spoken);
        } else {
            note("sensor jump", "jump -", (from, to), &mut spoken);
        }
    }
}

/// What breaks in a drive: driver, windings, gear, springs.
fn drive(run: &Recording, axis: usize, found: &mut Vec<Span>) {
    let parts = run.rig.axis(axis);
    let rows = run.rows.len();
    let mut note = |event, detail: String, from: usize, to: usize| {
        found.push(Span {
            event,
            detail: format!("{} {detail}", AXIS[axis]),
            from,
            to,
        });
    };
    // The command of a tick acts from it on: it shows in the next row.
    let asked = |n: usize| -> Option<f64> {
        let before = n.checked_sub(1)?;
        let outputs = run.answers[before]?.command.axis[axis];
        let level = match outputs.current {
            CurrentLevel::Off => return None,
            CurrentLevel::Hold => parts.driver.hold_a,
            CurrentLevel::Run => parts.driver.run_a,
        };
        (outputs.enable && run.rows[n].supply_v > parts.driver.undervoltage_v + 1.0)
            .then_some(level)
    };
    let row = |n: usize| &run.rows[n].axis[axis];
    let dead = |n: usize| asked(n).is_some() && !row(n).enabled;
    for (from, to) in stretches(rows, dead) {
        if to - from >= 3 {
            note("driver dead", "dead".to_owned(), from, to);
        }
    }
    lead(run, axis, &asked, &mut note);
    gear(run, parts, axis, &mut note);
    let cartridge = parts.cartridge.cartridge();
    let weak = |n: usize| {
        let (row, spare_rad) = (row(n), 0.3_f64.to_radians());
        let deflection_rad = row.deflection_deg.abs().to_radians();
        deflection_rad > cartridge.free_play_rad + spare_rad
            && row.stick_rate_deg_per_s.abs() < 2.0
            && row.cartridge_n_m.abs() < 0.7 * cartridge.torque_n_m(deflection_rad)
    };
    let shown: Vec<_> = stretches(rows, weak)
        .into_iter()
        .filter(|(from, to)| to - from >= 10)
        .collect();
    if let Some((from, _)) = shown.first() {
        note("spring broken", "broken".to_owned(), *from, rows - 1);
    }
}

/// One winding left: its share of the microstep table, where it differs from the other's.
fn lead(
    run: &Recording,
    axis: usize,
    asked: &dyn Fn(usize) -> Option<f64>,
    note: &mut dyn FnMut(&'static str, String, usize, usize),
) {
    let parts = run.rig.axis(axis);
    let settings = run.rig.axis_settings(axis).expect("the rig has settings");
    let microstep_deg = parts.full_step_deg() / f64::from(parts.driver.microsteps);
    let fits = |n: usize, coil: usize| {
        let (Some(level), Some(before)) = (asked(n), n.checked_sub(1)) else {
            return false;
        };
        let steps = (run.rows[before].axis[axis].drive_deg / microstep_deg).round() as i64;
        let electrical_rad = parts
            .driver
            .electrical_rad(steps + i64::from(settings.phase_zero_usteps));
        let (sine, cosine) = libm::sincos(electrical_rad);
        let left = [sine, cosine].map(f64::abs);
        let current_a = run.rows[n].axis[axis].current_a;
        // It differs from a whole drive and from the other coil by a tenth and more.
        (current_a - level * left[coil]).abs() < 0.05 * level
            && left[coil] < 0.9
            && (left[coil] - left[1 - coil]).abs() > 0.15
    };
    for (coil, name) in ["coil a", "coil b"].into_iter().enumerate() {
        let shown: Vec<_> = stretches(run.rows.len(), |n| fits(n, coil))
            .into_iter()
            .filter(|(from, to)| to - from >= 20)
            .collect();
        if let (Some((from, _)), Some((_, to))) = (shown.first(), shown.last()) {
            note("lead broken", name.to_owned(), *from, *to);
        }
    }
}

/// A jump of the trim shaft against the rotor by a whole number of teeth.
fn gear(
    run: &Recording,
    parts: &AxisRig,
    axis: usize,
    note: &mut dyn FnMut(&'static str, String, usize, usize),
) {
    let tooth_deg = 360.0 / f64::from(parts.drive.trim_teeth);
    let apart = |n: usize| {
        let row = &run.rows[n].axis[axis];
        row.trim_deg + row.lag_steps * parts.full_step_deg() - row.drive_deg
    };
    for n in 1..run.rows.len() {
        let jump = apart(n) - apart(n - 1);
        let shaft = run.rows[n].axis[axis].trim_deg - run.rows[n - 1].axis[axis].trim_deg;
        let teeth = jump / tooth_deg;
        let whole = teeth.round() != 0.0 && (teeth - teeth.round()).abs() < 0.3;
        // The shaft itself jumps, not the books.
        if whole && (shaft - jump).abs() < 0.3 * tooth_deg && shaft.abs() > 0.7 * tooth_deg {
            let sense = if teeth > 0.0 { "teeth +" } else { "teeth -" };
            note("gear slip", sense.to_owned(), n, n);
        }
    }
}
