//! Key figures of a trace: the numbers that an engineer looks at first.

use std::borrow::Cow;
use trimproof_formula::Signals;

/// How long the settled angle is averaged at the end of the trace, s.
pub const SETTLED_OVER_S: f64 = 0.5;

/// A value and when it stood.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Peak {
    /// The value, in the unit of its signal.
    pub value: f64,
    /// The instant, s.
    pub at_s: f64,
}

/// Key figures of one axis.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AxisFigures {
    /// Stick angle farthest from 0, deg.
    pub stick_peak_deg: Peak,
    /// Mean stick angle over the last [`SETTLED_OVER_S`], deg.
    pub stick_settled_deg: f64,
    /// Grip force farthest from 0, N.
    pub grip_peak_n: Peak,
    /// Contact force farthest from 0, felt at the grip, N.
    pub stop_peak_n: Peak,
    /// Largest change of the trim shaft from one tick to the next, signed, deg.
    pub trim_jump_deg: Peak,
    /// Largest change of the reference from one tick to the next, as a rate, signed, deg/s.
    pub reference_rate_deg_per_s: Peak,
    /// Reference at the end, deg.
    pub reference_end_deg: f64,
    /// Rotor behind or ahead of its command, farthest from 0, full steps.
    pub lag_peak_steps: Peak,
}

/// Key figures of a trace.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CardFigures {
    /// Per axis, `[pitch, roll]`.
    pub axis: [AxisFigures; 2],
    /// Lowest supply voltage, V.
    pub supply_min_v: Peak,
    /// Largest supply current, A.
    pub supply_max_a: Peak,
}

impl CardFigures {
    /// Reads the figures off a trace. A trace without rows gives zeros.
    pub fn of(signals: &dyn Signals) -> Self {
        Self {
            axis: ["pitch", "roll"].map(|axis| axis_figures(signals, axis)),
            supply_min_v: extreme(signals, &column(signals, "supply_v"), |v| -v),
            supply_max_a: extreme(signals, &column(signals, "supply_a"), |v| v),
        }
    }
}

fn axis_figures(signals: &dyn Signals, axis: &str) -> AxisFigures {
    let of = |name: &str| column(signals, &format!("{axis}.{name}"));
    let (stick, reference) = (of("stick_deg"), of("reference_deg"));
    let tail = settled_rows(signals, stick.len());
    let per_s = 1.0 / signals.tick_s();
    let rate = largest_change(signals, &reference);
    AxisFigures {
        stick_peak_deg: extreme(signals, &stick, f64::abs),
        stick_settled_deg: mean(&stick[stick.len() - tail..]),
        grip_peak_n: extreme(signals, &of("grip_force_n"), f64::abs),
        stop_peak_n: extreme(signals, &of("stop_force_n"), f64::abs),
        trim_jump_deg: largest_change(signals, &of("trim_deg")),
        reference_rate_deg_per_s: Peak {
            value: rate.value * per_s,
            ..rate
        },
        reference_end_deg: reference.last().copied().unwrap_or(0.0),
        lag_peak_steps: extreme(signals, &of("lag_steps"), f64::abs),
    }
}

fn column<'a>(signals: &'a dyn Signals, name: &str) -> Cow<'a, [f64]> {
    signals.signal(name).unwrap_or_default()
}

fn settled_rows(signals: &dyn Signals, rows: usize) -> usize {
    // Positive and below a billion: the longest trace has 1.8 million rows.
    ((SETTLED_OVER_S / signals.tick_s()).round() as usize).min(rows)
}

/// The first row at which `rank` is largest.
fn extreme(signals: &dyn Signals, values: &[f64], rank: impl Fn(f64) -> f64) -> Peak {
    let mut best: Option<(usize, f64)> = None;
    for (row, value) in values.iter().enumerate() {
        if best.is_none_or(|(_, ranked)| rank(*value) > ranked) {
            best = Some((row, rank(*value)));
        }
    }
    best.map_or_else(Peak::default, |(row, _)| Peak {
        value: values[row],
        at_s: row as f64 * signals.tick_s(),
    })
}

/// The largest step from one row to the next, at the later row.
fn largest_change(signals: &dyn Signals, values: &[f64]) -> Peak {
    let changes: Vec<f64> = values.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let found = extreme(signals, &changes, f64::abs);
    if changes.is_empty() {
        found
    } else {
        Peak {
            at_s: found.at_s + signals.tick_s(),
            ..found
        }
    }
}

fn mean(values: &[f64]) -> f64 {
    if values.is_empty() {
        0.0
    } else {
        values.iter().sum::<f64>() / values.len() as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    struct CardTable(BTreeMap<&'static str, Vec<f64>>, f64);

    impl Signals for CardTable {
        fn rows(&self) -> usize {
            self.0.values().map(Vec::len).max().unwrap_or(0)
        }
        fn tick_s(&self) -> f64 {
            self.1
        }
        fn signal(&self, name: &str) -> Option<Cow<'_, [f64]>> {
            self.0
                .get(name)
                .map(|values| Cow::Borrowed(values.as_slice()))
        }
    }

    #[test]
    fn figures_of_a_small_table() {
        let table = CardTable(
            BTreeMap::from([
                ("pitch.stick_deg", vec![0.0, 3.0, -5.0, 1.0, 2.0]),
                ("pitch.trim_deg", vec![0.0, 0.0, 0.5, -0.25, -0.25]),
                ("pitch.reference_deg", vec![0.0, 1.0, 1.5, 1.5, 1.25]),
                ("pitch.grip_force_n", vec![1.0, -2.0, 2.0, 0.0, 0.0]),
                ("supply_v", vec![24.0, 23.0, 22.5, 22.5, 24.0]),
            ]),
            0.25,
        );
        let figures = CardFigures::of(&table);
        let pitch = figures.axis[0];
        assert_eq!(
            pitch.stick_peak_deg,
            Peak {
                value: -5.0,
                at_s: 0.5
            }
        );
        // Two rows of 0.25 s make the last half second.
        assert_eq!(pitch.stick_settled_deg, 1.5);
        assert_eq!(
            pitch.trim_jump_deg,
            Peak {
                value: -0.75,
                at_s: 0.75
            }
        );
        assert_eq!(
            pitch.reference_rate_deg_per_s,
            Peak {
                value: 4.0,
                at_s: 0.25
            }
        );
        assert_eq!(pitch.reference_end_deg, 1.25);
        // Of two equal peaks the first counts.
        assert_eq!(
            pitch.grip_peak_n,
            Peak {
                value: -2.0,
                at_s: 0.25
            }
        );
        assert_eq!(
            figures.supply_min_v,
            Peak {
                value: 22.5,
                at_s: 0.5
            }
        );
        assert_eq!(figures.axis[1], AxisFigures::default());
    }

    #[test]
    fn an_empty_trace_gives_zeros() {
        assert_eq!(
            CardFigures::of(&CardTable(BTreeMap::new(), 0.002)),
            CardFigures::default()
        );
    }
}
