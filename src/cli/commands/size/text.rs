//! The sizes for people.

use super::listing::listing;
use super::motion::{catch, rates, resolution};
use std::fmt::Write;
use trimproof_diagnostics::{line, prose};
use trimproof_feel::judge::N_PER_LB;
use trimproof_harness::card::WIDTH;
use trimproof_harness::card::text::{fixed, table, wrap_into};
use trimproof_plant::Scheme;
use trimproof_size::{AxisSizes, COPPER_PER_K, HOT_RISE_K, HoldingCurve, Sizes};

/// Points of the holding curve in the table.
const CURVE_POINTS: usize = 9;

/// All tables of a rig.
pub fn render(sizes: &Sizes) -> String {
    let mut out = format!("{}, {}\n", line(&sizes.rig), prose(&sizes.title));
    let _ = writeln!(
        out,
        "grip {} mm from the pivot; a calculation, tests hold it against the twin",
        fixed(sizes.grip_radius_mm, 0)
    );
    for axis in &sizes.axes {
        axis_text(&mut out, axis);
    }
    supply(&mut out, sizes);
    scheme(&mut out, &sizes.scheme);
    if !sizes.advice.is_empty() {
        let _ = writeln!(out, "\nLOOKS UNINTENDED");
        for advice in &sizes.advice {
            wrap_into(&mut out, advice, 2, WIDTH);
        }
    }
    out
}

fn axis_text(out: &mut String, axis: &AxisSizes) {
    let _ = writeln!(
        out,
        "\n{} (stops {} and {} deg, trim {} to {} deg)",
        axis.axis.name().to_uppercase(),
        axis.stop_deg[0],
        axis.stop_deg[1],
        axis.soft_deg[0],
        axis.soft_deg[1]
    );
    cartridge(out, axis);
    forces(out, axis);
    holding(out, axis);
    catch(out, &axis.catch);
    resolution(out, axis);
    rates(out, axis);
    what_if(out, axis);
}

/// A row of `words`, as a table wants it.
fn row<const N: usize>(words: [&str; N]) -> Vec<String> {
    words.map(str::to_owned).to_vec()
}

fn cartridge(out: &mut String, axis: &AxisSizes) {
    let c = &axis.cartridge;
    let count = if c.springs == 1 { "spring" } else { "springs" };
    let mut lines = vec![
        (
            "breakout",
            format!(
                "{} N at the grip ({} lb), {} N·m",
                fixed(c.breakout_n, 2),
                fixed(c.breakout_n / N_PER_LB, 2),
                fixed(c.breakout_n_m, 3)
            ),
        ),
        (
            "gradient",
            format!(
                "{} N/deg at the grip, {} N·m/rad",
                fixed(c.gradient_n_per_deg, 3),
                fixed(c.rate_n_m_per_rad, 2)
            ),
        ),
        (
            "coils touch at",
            format!(
                "{} deg: {} deg left at a stop, {} deg with the trim at the far soft limit{}",
                fixed(c.bind_deg, 1),
                fixed(c.bind_margin_deg, 1),
                fixed(c.bind_margin_worst_deg, 1),
                mark(c.bind_margin_worst_deg < 0.0, "  COILS TOUCH")
            ),
        ),
    ];
    if let Some(s) = &c.spring {
        lines.extend([
            (
                "spring rate",
                format!(
                    "{} N/mm each, coil/wire {}",
                    fixed(s.rate_n_per_mm, 3),
                    fixed(s.index, 1)
                ),
            ),
            ("preload", format!("{} N each", fixed(s.preload_n, 1))),
            (
                "stroke to solid",
                format!(
                    "{} mm; left {} mm at a stop, {} mm with the trim at the far soft limit",
                    fixed(s.stroke_mm, 1),
                    fixed(s.stroke_left_mm, 1),
                    fixed(s.stroke_left_worst_mm, 1)
                ),
            ),
            (
                "shear stress",
                format!(
                    "{} MPa preloaded, {} at a stop, {} at worst ({} inside the coil)",
                    fixed(s.stress_preload_mpa, 0),
                    fixed(s.stress_stop_mpa, 0),
                    fixed(s.stress_worst_mpa, 0),
                    fixed(s.stress_worst_curved_mpa, 0)
                ),
            ),
        ]);
    }
    let how = if c.by_geometry {
        "from wire and coil"
    } else {
        "as measured: the rig gives no wire and coil, so no stress"
    };
    listing(
        out,
        &format!("cartridge, {} {count}, {how}", c.springs),
        &lines,
    );
}

fn forces(out: &mut String, axis: &AxisSizes) {
    let _ = writeln!(
        out,
        "\n  force at the grip, trimmed in the middle (out: friction against the hand; back: with it)"
    );
    let mut rows = vec![row([
        "deg",
        "out N",
        "back N",
        "mean N",
        "mean lb",
        "weight N",
        "cartridge N·m",
        "drive gives deg",
    ])];
    for place in &axis.forces {
        let mut cells = vec![fixed(place.position_deg, 2)];
        match &place.force {
            Some(f) => cells.extend([
                fixed(f.out_n, 2),
                fixed(f.back_n, 2),
                fixed(f.mean_n, 2),
                fixed(f.mean_n / N_PER_LB, 2),
                fixed(f.weight_n, 2),
                fixed(f.cartridge_n_m, 3),
                fixed(f.drive_gives_deg, 2),
            ]),
            None => cells.push("beyond a stop, or the drive slips first".to_owned()),
        }
        rows.push(cells);
    }
    out.push_str(&table(&rows, &[true; 8], 4));
    let u = &axis.unpowered;
    let mut text = format!(
        "without supply: up to {} N to move the stick ({} detent, {} friction of the drive, {} pivot)",
        fixed(u.most_n, 2),
        fixed(u.detent_n, 2),
        fixed(u.friction_n, 2),
        fixed(u.pivot_n, 2)
    );
    if let Some(share) = u.share_of_breakout {
        let _ = write!(
            text,
            "; the drive's part is {} % of the breakout",
            fixed(100.0 * share, 0)
        );
        if share >= 1.0 {
            text.push_str(": the spring gives before the trim shaft follows");
        }
    }
    wrap_into(out, &text, 4, WIDTH);
}

fn holding(out: &mut String, axis: &AxisSizes) {
    let _ = writeln!(
        out,
        "\n  holding margin of motor and gear, at the trim shaft"
    );
    let mut rows = vec![row([
        "current",
        "A peak",
        "winding",
        "slips N·m",
        "bare N·m",
        "at deg",
        "times",
        "times far",
        "needs V",
        "spare V",
    ])];
    for curve in &axis.holding {
        rows.push(vec![
            curve.current.name().to_owned(),
            fixed(curve.current_a, 2),
            curve.windings.name().to_owned(),
            fixed(curve.slips_at_n_m, 2),
            fixed(curve.without_friction_n_m, 2),
            fixed(curve.slips_at_deg, 1),
            times(curve.least.factor, curve.least.margin_n_m),
            times(curve.least_far.far_factor, curve.least_far.far_margin_n_m),
            fixed(curve.needs_v, 2),
            fixed(curve.headroom_v, 2),
        ]);
    }
    let right = [false, true, false, true, true, true, true, true, true, true];
    out.push_str(&table(&rows, &right, 4));
    let note = "slips: slow pull at the weakest microstep, friction helping; bare: without friction; at: the stick's \
                deflection there. times: slip torque over the cartridge's at the worst position, trimmed in the middle; far: trimmed at the far soft limit.";
    wrap_into(out, note, 4, WIDTH);
    let warm = format!(
        "hot: {HOT_RISE_K} K more, copper {} % more. The driver regulates current, so the torque stays as long as volts are \
         spare; that magnets weaken with heat is not in it.",
        fixed(100.0 * COPPER_PER_K * HOT_RISE_K, 0)
    );
    wrap_into(out, &warm, 4, WIDTH);
    let weakest = |a: &&HoldingCurve, b: &&HoldingCurve| a.slips_at_n_m.total_cmp(&b.slips_at_n_m);
    if let Some(curve) = axis.holding.iter().min_by(weakest) {
        holding_curve(out, curve);
    }
}

fn holding_curve(out: &mut String, curve: &HoldingCurve) {
    let _ = writeln!(
        out,
        "\n  holding margin over the travel, {} current, {} windings",
        curve.current.name(),
        curve.windings.name()
    );
    let mut rows = vec![row([
        "stick deg",
        "cartridge N·m",
        "margin N·m",
        "times",
        "far trim N·m",
        "margin N·m",
        "times",
    ])];
    let last = curve.points.len().saturating_sub(1);
    for k in 0..CURVE_POINTS {
        let Some(point) = curve.points.get(k * last / (CURVE_POINTS - 1)) else {
            continue;
        };
        rows.push(vec![
            fixed(point.position_deg, 1),
            fixed(point.cartridge_n_m, 2),
            fixed(point.margin_n_m, 2),
            times(point.factor, point.margin_n_m),
            fixed(point.far_cartridge_n_m, 2),
            fixed(point.far_margin_n_m, 2),
            times(point.far_factor, point.far_margin_n_m),
        ]);
    }
    out.push_str(&table(&rows, &[true; 7], 4));
}

/// A factor, and in words if it is below one.
fn times(factor: Option<f64>, margin: f64) -> String {
    match factor {
        None => "-".to_owned(),
        Some(factor) => format!("{}{}", fixed(factor, 2), mark(margin < 0.0, " SLIPS")),
    }
}

fn mark(is: bool, text: &str) -> &str {
    if is { text } else { "" }
}

fn what_if(out: &mut String, axis: &AxisSizes) {
    let _ = writeln!(
        out,
        "\n  what if (the row marked * is the rig as it stands)"
    );
    let mut rows = vec![row([
        "",
        "springs",
        "gear",
        "run A",
        "hold A",
        "breakout N",
        "N/deg",
        "stop N",
        "holds",
        "catch mm",
        "step mm",
        "deg/s",
    ])];
    for choice in &axis.what_if {
        let above = mark(choice.above_rated, "!");
        rows.push(vec![
            mark(choice.as_it_stands, "*").to_owned(),
            choice.springs.to_string(),
            format!("1:{}", fixed(choice.ratio, 2)),
            format!("{above}{}", fixed(choice.run_a, 2)),
            fixed(choice.hold_a, 2),
            fixed(choice.breakout_n, 2),
            fixed(choice.gradient_n_per_deg, 3),
            choice
                .stop_n
                .map_or_else(|| "slips".to_owned(), |n| fixed(n, 1)),
            fixed(choice.holding_factor, 2),
            fixed(choice.catch_mm, 2),
            fixed(choice.trim_mm, 3),
            if choice.highest_deg_per_s > 0.0 {
                fixed(choice.highest_deg_per_s, 0)
            } else {
                "stalls".to_owned()
            },
        ]);
    }
    out.push_str(&table(&rows, &[true; 12], 4));
    let note = "holds: slip torque at holding current over the cartridge's at the farther stop, hot; a good rig has 1.5 or \
                more. deg/s: highest nudge rate. !: above √2 times the rated current. Inertia and damping stay as they are.";
    wrap_into(out, note, 4, WIDTH);
}

fn supply(out: &mut String, sizes: &Sizes) {
    let _ = writeln!(out, "\nSUPPLY, both motors");
    let mut rows = vec![row([
        "", "windings", "pitch W", "roll W", "in all W", "A", "V left",
    ])];
    for draw in &sizes.supply {
        let or = |value: Option<f64>| {
            value.map_or_else(|| "too much".to_owned(), |value| fixed(value, 2))
        };
        rows.push(vec![
            draw.what.clone(),
            draw.windings.name().to_owned(),
            fixed(draw.heat_w[0], 1),
            fixed(draw.heat_w[1], 1),
            fixed(draw.power_w, 1),
            or(draw.supply_a),
            or(draw.supply_v),
        ]);
    }
    let right = [false, false, true, true, true, true, true];
    out.push_str(&table(&rows, &right, 2));
}

/// Steps in which the twin computes the rig. *allows*: the longest step for the value that decides,
/// before the usual count; *limit*: how far that value may go before the rig is refused.
fn scheme(out: &mut String, scheme: &Scheme) {
    let _ = writeln!(out, "\nSTEPS OF THE TWIN");
    let mut rows = vec![row([
        "",
        "step us",
        "steps/usual",
        "decided by",
        "value",
        "allows us",
        "limit",
    ])];
    for (what, choice) in [
        ("stick", &scheme.stick),
        ("pitch drive", &scheme.train[0]),
        ("roll drive", &scheme.train[1]),
    ] {
        let bound = &choice.tightest;
        let limit = if bound.limit.is_finite() {
            let sense = if bound.is_least { ">=" } else { "<=" };
            format!("{sense} {}", significant(bound.limit))
        } else {
            "none".to_owned()
        };
        rows.push(vec![
            what.to_owned(),
            significant(1e6 * choice.step_s),
            format!("{}/{}", choice.count, choice.usual_count),
            bound.key.clone(),
            significant(bound.value),
            significant(1e6 * bound.longest_step_s),
            limit,
        ]);
    }
    let right = [false, true, true, false, true, true, true];
    out.push_str(&table(&rows, &right, 2));
}

/// Three digits, small and large numbers with an exponent.
fn significant(value: f64) -> String {
    let text = format!("{value:.2e}");
    let plain: f64 = text.parse().unwrap_or(value);
    if (1e-3..1e6).contains(&plain.abs()) || plain == 0.0 {
        plain.to_string()
    } else {
        text
    }
}
