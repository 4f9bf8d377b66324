//! Tables of what was measured, for a builder's eye.

use std::fmt::Write;
use trimproof_feel::figures::{Figures, ResponseFigures, SweepFigures};
use trimproof_feel::judge::{
    KG_PER_LBM, MM_PER_IN, N_PER_LB, grip_mm, response_of, sides, sweep_of,
};
use trimproof_feel::measure::DISPLACED_SHARE;
use trimproof_feel::record::Condition;
use trimproof_harness::card::text::{fixed, table};
use trimproof_plant::AxisName;

/// What stands where there is no figure.
const NONE: &str = "-";

/// One line of a table: what, unit, and a value for each column.
type Line<T> = (&'static str, &'static str, fn(&T, usize) -> Option<String>);

/// A table under its title; the first row is its head.
pub struct Titled {
    /// Title.
    pub title: String,
    /// Rows of cells.
    pub rows: Vec<Vec<String>>,
}

/// All tables of figures, as text.
pub fn render(figures: &Figures) -> String {
    let mut out = String::new();
    for Titled { title, rows } in tables(figures) {
        let right = [false, false, true, true, true, true];
        let _ = writeln!(out, "\n{title}");
        out.push_str(&table(&rows, &right, 2));
    }
    out
}

/// All tables of figures.
pub fn tables(figures: &Figures) -> Vec<Titled> {
    let mut out = Vec::new();
    for condition in Condition::ALL {
        sweeps(&mut out, figures, condition);
    }
    responses(&mut out, figures);
    whole(&mut out, figures);
    out
}

fn sweeps(out: &mut Vec<Titled>, figures: &Figures, condition: Condition) {
    let found = AxisName::ALL.map(|axis| sweep_of(figures, axis, condition));
    if found.iter().all(Option::is_none) {
        return;
    }
    let title = match condition {
        Condition::Held => "Slow sweep, supply on, trim holding",
        Condition::Released => "Slow sweep, supply on, trim release pressed",
        Condition::Unpowered => "Slow sweep, supply off",
    };
    let limp = found.iter().flatten().all(|sweep| sweep.is_limp());
    let lines: &[Line<SweepFigures>] = if limp { &DRAG } else { &GRADIENT };
    let mut rows = vec![header()];
    for (what, unit, value) in lines {
        rows.push(row(what, unit, |axis, side| {
            found[axis.index()].and_then(|sweep| value(sweep, side))
        }));
    }
    section(out, title, rows);
}

const GRADIENT: [Line<SweepFigures>; 18] = [
    ("breakout, friction included", "N", |s, side| {
        digits(s.breakout_n[side], 2)
    }),
    ("", "lb", |s, side| digits(s.breakout_n[side] / N_PER_LB, 2)),
    ("gradient, first inch", "N/deg", |s, side| {
        digits(s.first_inch_n_per_deg[side], 3)
    }),
    ("", "N/mm", |s, side| {
        digits(per_mm(s, s.first_inch_n_per_deg[side]), 4)
    }),
    ("", "lb/in", |s, side| {
        digits(
            per_mm(s, s.first_inch_n_per_deg[side]) * MM_PER_IN / N_PER_LB,
            2,
        )
    }),
    ("gradient beyond", "N/deg", |s, side| {
        digits(s.beyond_n_per_deg[side]?, 3)
    }),
    ("", "N/mm", |s, side| {
        digits(per_mm(s, s.beyond_n_per_deg[side]?), 4)
    }),
    ("", "lb/in", |s, side| {
        digits(
            per_mm(s, s.beyond_n_per_deg[side]?) * MM_PER_IN / N_PER_LB,
            2,
        )
    }),
    ("largest force before the stop", "N", |s, side| {
        digits(s.largest_n[side], 2)
    }),
    ("", "lb", |s, side| digits(s.largest_n[side] / N_PER_LB, 2)),
    ("travel ends at", "deg", |s, side| {
        digits(s.stop_deg[side], 2)
    }),
    ("let back slowly, rests at", "deg", |s, side| {
        digits(s.centring_error_deg[side], 2)
    }),
    ("friction (half the loop)", "N", |s, side| {
        first(side, s.friction_n, 2)
    }),
    ("free play, flank to flank", "deg", |s, side| {
        first(side, s.free_play_deg, 2)
    }),
    ("", "mm", |s, side| {
        first(side, grip_mm(s.free_play_deg, s.grip_radius_m), 2)
    }),
    ("", "in", |s, side| {
        first(
            side,
            grip_mm(s.free_play_deg, s.grip_radius_m) / MM_PER_IN,
            3,
        )
    }),
    ("steps of the force", "", |s, side| {
        let positive = side == 1;
        let count = s
            .discontinuities
            .iter()
            .filter(|step| (step.at_deg > 0.0) == positive)
            .count();
        Some(count.to_string())
    }),
    ("motor slipped at", "deg", |s, side| {
        match s.slipped_at_deg {
            Some(at_deg) => first(side, at_deg, 1),
            None => once(side, "no"),
        }
    }),
];

const DRAG: [Line<SweepFigures>; 12] = [
    ("drag, mean (half the loop)", "N", |s, side| {
        first(side, s.friction_n, 2)
    }),
    ("", "lb", |s, side| first(side, s.friction_n / N_PER_LB, 2)),
    ("ripple, peak off the mean", "N", |s, side| {
        first(side, s.ripple?.peak_n, 2)
    }),
    ("", "lb", |s, side| {
        first(side, s.ripple?.peak_n / N_PER_LB, 2)
    }),
    ("  at", "deg", |s, side| {
        first(side, s.ripple?.peak_at_deg, 2)
    }),
    ("ripple, peak to peak", "N", |s, side| {
        first(side, s.ripple?.peak_to_peak_n, 2)
    }),
    ("", "lb", |s, side| {
        first(side, s.ripple?.peak_to_peak_n / N_PER_LB, 2)
    }),
    ("  crest at", "deg", |s, side| {
        first(side, s.ripple?.trough_to_crest_deg[1], 2)
    }),
    ("largest force between the stops", "N", |s, side| {
        digits(s.largest_n[side], 2)
    }),
    ("", "lb", |s, side| digits(s.largest_n[side] / N_PER_LB, 2)),
    ("travel ends at", "deg", |s, side| {
        digits(s.stop_deg[side], 2)
    }),
    ("stays where it is left", "", |s, side| {
        once(side, if s.is_limp() { "yes" } else { "no" })
    }),
];

fn responses(out: &mut Vec<Titled>, figures: &Figures) {
    let found = AxisName::ALL.map(|axis| [0, 1].map(|side| response_of(figures, axis, side)));
    let all: Vec<_> = found.iter().flatten().flatten().collect();
    if all.is_empty() {
        return;
    }
    let most = |of: fn(&ResponseFigures) -> usize| all.iter().map(|r| of(r)).max().unwrap_or(0);
    let periods = most(|r| r.periods_s.len());
    let overshoots = most(|r| r.overshoots_deg.len());
    let mut rows = vec![header()];
    let mut line = |what: &str, unit: &str, value: &dyn Fn(&ResponseFigures) -> Option<String>| {
        rows.push(row(what, unit, |axis, side| {
            found[axis.index()][side].and_then(value)
        }));
    };
    line("let go from", "deg", &|r| digits(r.initial_deg, 2));
    line("comes to rest at", "deg", &|r| digits(r.steady_deg, 2));
    line("P0, to the first crossing", "s", &|r| digits(r.p0_s?, 4));
    for n in 0..periods {
        line(&format!("P{}", n + 1), "s", &|r| {
            digits(*r.periods_s.get(n)?, 4)
        });
    }
    for n in 0..overshoots {
        line(&format!("A{}", n + 1), "%", &|r| {
            digits(100.0 * r.overshoots_deg.get(n)? / r.initial_deg.abs(), 1)
        });
    }
    line("overshoots beyond 5 %", "", &|r| {
        Some(r.overshoots_deg.len().to_string())
    });
    line("damping ratio", "", &|r| digits(r.damping_ratio?, 3));
    line("90 % of the way after", "s", &|r| {
        digits(r.to_90_percent_s, 4)
    });
    let title = format!(
        "Let go, trim holding (25 to 50 % of the throw; the twin: {:.0} %)",
        100.0 * DISPLACED_SHARE
    );
    section(out, &title, rows);
}

fn whole(out: &mut Vec<Titled>, figures: &Figures) {
    let mut rows = vec![vec![
        String::new(),
        String::new(),
        "pitch".to_owned(),
        "roll".to_owned(),
    ]];
    let mut line = |what: &str, unit: &str, values: [Option<f64>; 2], decimals: usize| {
        let mut row = vec![what.to_owned(), unit.to_owned()];
        row.extend(
            values
                .map(|value| value.map_or_else(|| NONE.to_owned(), |value| fixed(value, decimals))),
        );
        rows.push(row);
    };
    let mass = figures.effective_mass_kg;
    line(
        "trim rate, hat held",
        "deg/s",
        figures.trim_rate_deg_per_s,
        2,
    );
    line("effective inertia at the grip", "kg", mass, 3);
    line(
        "",
        "lbm",
        mass.map(|mass| mass.map(|kg| kg / KG_PER_LBM)),
        2,
    );
    section(out, "Trim and inertia", rows);
}

/// A slope by travel at the grip, N/mm.
fn per_mm(sweep: &SweepFigures, n_per_deg: f64) -> f64 {
    n_per_deg / grip_mm(1.0, sweep.grip_radius_m)
}

fn header() -> Vec<String> {
    let mut row = vec![String::new(), String::new()];
    for axis in AxisName::ALL {
        row.extend(sides(axis).map(|side| format!("{} {side}", axis.name())));
    }
    row
}

fn row(what: &str, unit: &str, value: impl Fn(AxisName, usize) -> Option<String>) -> Vec<String> {
    let mut row = vec![what.to_owned(), unit.to_owned()];
    for axis in AxisName::ALL {
        row.extend([0, 1].map(|side| value(axis, side).unwrap_or_else(|| NONE.to_owned())));
    }
    row
}

fn section(out: &mut Vec<Titled>, title: &str, rows: Vec<Vec<String>>) {
    out.push(Titled {
        title: title.to_owned(),
        rows,
    });
}

fn digits(value: f64, decimals: usize) -> Option<String> {
    Some(fixed(value, decimals))
}

/// The value of both directions, shown in the first column.
fn first(side: usize, value: f64, decimals: usize) -> Option<String> {
    once(side, &fixed(value, decimals))
}

/// A word for both directions, shown in the first column.
fn once(side: usize, word: &str) -> Option<String> {
    Some(if side == 0 {
        word.to_owned()
    } else {
        String::new()
    })
}
