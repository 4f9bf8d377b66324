//! Which signals share a plot, what they are called there, and the numbers on its axes.

use egui_plot::GridMark;
use trimproof_harness::trace::{Trace, titled};

use crate::timeline::SignalName;

/// Most curves in a plot.
const MOST_CURVES: usize = 6;

/// One plot: signals of one unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct PlotOf {
    /// What is measured, with the unit.
    pub title: String,
    /// The signals.
    pub signals: Vec<SignalName>,
}

/// Parts the signals that the trace has into plots: by unit, and angles by axis; in the order in
/// which they come.
pub(super) fn plots_of(trace: &Trace, signals: &[SignalName]) -> Vec<PlotOf> {
    let mut plots: Vec<PlotOf> = Vec::new();
    for (index, name) in signals.iter().enumerate() {
        let info = trace.column(name).filter(|info| info.kind.is_number());
        let Some(info) = info.filter(|_| !signals[..index].contains(name)) else {
            continue;
        };
        let axis = name
            .split('.')
            .next()
            .filter(|axis| ["pitch", "roll"].contains(axis));
        let axis = match (&*info.unit, axis, &**name) {
            ("deg", Some(axis), _) => axis,
            ("deg", None, "hand.pitch_deg") => "pitch",
            ("deg", None, "hand.roll_deg") => "roll",
            _ => "",
        };
        let what = titled(&info.unit);
        let title = if axis.is_empty() {
            what
        } else {
            format!("{axis} {what}")
        };
        match plots
            .iter_mut()
            .find(|plot| plot.title == title && plot.signals.len() < MOST_CURVES)
        {
            Some(plot) => plot.signals.push(info.name.clone()),
            None => plots.push(PlotOf {
                title,
                signals: vec![info.name.clone()],
            }),
        }
    }
    plots
}

/// A name without what the plot's title says.
pub(super) fn short_name(name: &str, title: &str) -> String {
    let (axis, rest) = name.split_once('.').unwrap_or(("", name));
    let unit = title.rsplit(", ").next().unwrap_or_default();
    let suffix = match unit {
        "deg/s" => "_deg_per_s".to_owned(),
        "full steps" => "_steps".to_owned(),
        unit => format!("_{}", unit.replace(' ', "_").to_lowercase()),
    };
    let rest = rest.strip_suffix(&suffix).unwrap_or(rest).replace('_', " ");
    if axis.is_empty() || title.starts_with(axis) {
        rest
    } else {
        format!("{axis} {rest}")
    }
}

/// Marks at 1, 2 or 5 times a power of ten, at most so many.
pub(super) fn marks_of((from, to): (f64, f64), most: f32) -> Vec<GridMark> {
    let rough = (to - from) / f64::from(most.max(1.0));
    if !rough.is_finite() || rough <= 0.0 {
        return Vec::new();
    }
    let power = libm::pow(10.0, libm::floor(libm::log10(rough)));
    let steps = [1.0, 2.0, 5.0, 10.0].map(|factor| factor * power);
    let step = steps
        .into_iter()
        .find(|step| *step >= rough)
        .unwrap_or(rough);
    let first = libm::ceil(from / step);
    let count = (libm::floor(to / step) - first).clamp(0.0, 200.0) as usize;
    (0..=count)
        .map(|index| GridMark {
            value: (first + index as f64) * step,
            step_size: step,
        })
        .collect()
}

/// What a plot spans at least, in its unit: less is of no interest to a hand.
pub(super) fn least_span(title: &str) -> f64 {
    match title.rsplit(", ").next().unwrap_or_default() {
        "deg" | "V" => 1.0,
        "N" | "deg/s" => 2.0,
        _ => 0.2,
    }
}

/// A number on an axis without needless digits.
pub(super) fn round(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timeline::USUAL;
    use trimproof_harness::trace::About;
    use trimproof_io::Reports;

    #[test]
    fn signals_are_parted_by_unit_and_angles_by_axis() {
        let full = Trace::new(About::default(), Reports::ALL, 0);
        let bare = Trace::new(About::default(), Reports::NONE, 0);
        let names = |signals: &[&'static str]| -> Vec<SignalName> {
            signals.iter().copied().map(SignalName::from).collect()
        };
        let titles = |signals: &[&'static str]| -> Vec<String> {
            plots_of(&full, &names(signals))
                .into_iter()
                .map(|plot| plot.title)
                .collect()
        };
        assert_eq!(
            titles(&USUAL),
            ["pitch angle, deg", "roll angle, deg", "force, N"]
        );
        assert_eq!(
            titles(&[
                "supply_v",
                "pitch.stick_deg",
                "hand.pitch_deg",
                "no.such",
                "roll.lag_steps"
            ]),
            ["voltage, V", "pitch angle, deg", "lag, full steps"]
        );
        // Seven angles of pitch: more than a plot has colours for. Twice the same is once.
        let many = [
            "pitch.stick_deg",
            "pitch.trim_deg",
            "pitch.trim_deg",
            "pitch.deflection_deg",
            "pitch.reference_deg",
            "pitch.drive_deg",
            "pitch.estimated_deg",
            "hand.pitch_deg",
        ];
        let counts: Vec<usize> = plots_of(&full, &names(&many))
            .iter()
            .map(|plot| plot.signals.len())
            .collect();
        assert_eq!(counts, [6, 1]);
        // Of a controller that reports nothing there are the twin's angles only.
        let kept: Vec<SignalName> = plots_of(&bare, &names(&many))
            .into_iter()
            .flat_map(|plot| plot.signals)
            .collect();
        assert_eq!(
            kept,
            [
                "pitch.stick_deg",
                "pitch.trim_deg",
                "pitch.deflection_deg",
                "hand.pitch_deg"
            ]
        );
    }

    #[test]
    fn names_are_short_and_say_what_the_title_does_not() {
        assert_eq!(short_name("pitch.stick_deg", "pitch angle, deg"), "stick");
        assert_eq!(
            short_name("roll.grip_force_n", "force, N"),
            "roll grip force"
        );
        assert_eq!(
            short_name("pitch.stick_rate_deg_per_s", "rate, deg/s"),
            "pitch stick rate"
        );
        assert_eq!(short_name("supply_v", "voltage, V"), "supply");
        assert_eq!(
            short_name("pitch.lag_steps", "lag, full steps"),
            "pitch lag"
        );
        assert_eq!(
            short_name("pitch.cartridge_n_m", "torque, N m"),
            "pitch cartridge"
        );
    }

    #[test]
    fn numbers_have_no_needless_digits() {
        assert_eq!(
            [0.0, -0.0001, 2.5, -10.0, 0.125].map(round),
            ["0", "0", "2.5", "-10", "0.125"]
        );
    }
}
