//! The motor supply: a source behind a resistance, feeding a bulk capacitor.

use crate::state_bits::StateBits;

/// Bleed across the bulk capacitor, Ω: a disconnected supply falls by itself (common practice, no
/// source).
const BLEED_OHM: f64 = 4_700.0;

/// A motor supply whose source voltage follows a script.
#[derive(Clone, Debug)]
pub struct Supply {
    source_ohm: f64,
    bulk_f: f64,
    step_s: f64,
    connected_decay: f64,
    bleed_decay: f64,
    ramp: SupplyRamp,
    volts: f64,
    /// A step before.
    before_v: f64,
    current_a: f64,
}

#[derive(Clone, Copy, Debug)]
struct SupplyRamp {
    from_v: f64,
    to_v: f64,
    start_s: f64,
    over_s: f64,
}

impl Supply {
    /// A supply at rest at `volts`, advanced every `step_s`.
    pub fn new(source_ohm: f64, bulk_f: f64, volts: f64, step_s: f64) -> Self {
        Self {
            source_ohm,
            bulk_f,
            step_s,
            connected_decay: libm::exp(-step_s / (source_ohm * bulk_f)),
            bleed_decay: libm::exp(-step_s / (BLEED_OHM * bulk_f)),
            ramp: SupplyRamp {
                from_v: volts,
                to_v: volts,
                start_s: 0.0,
                over_s: 0.0,
            },
            volts,
            before_v: volts,
            current_a: 0.0,
        }
    }

    /// Brings the source to `volts` over `over_s`; zero disconnects it at the end.
    pub fn set(&mut self, volts: f64, over_s: f64, now_s: f64) {
        self.ramp = SupplyRamp {
            from_v: self.source_v(now_s),
            to_v: volts,
            start_s: now_s,
            over_s,
        };
    }

    /// Open-circuit voltage of the source, V; zero means disconnected.
    pub fn source_v(&self, now_s: f64) -> f64 {
        let gone = now_s - self.ramp.start_s;
        if gone >= self.ramp.over_s {
            self.ramp.to_v
        } else {
            self.ramp.from_v + (self.ramp.to_v - self.ramp.from_v) * gone / self.ramp.over_s
        }
    }

    /// Whether the source stays as it is from `now_s` on.
    pub(crate) fn is_steady(&self, now_s: f64) -> bool {
        now_s - self.ramp.start_s >= self.ramp.over_s
    }

    /// Writes down source, voltage and current.
    pub(crate) fn note(&self, now_s: f64, bits: &mut StateBits) {
        bits.numbers(&[
            self.source_v(now_s),
            self.volts,
            self.before_v,
            self.current_a,
        ]);
    }

    /// Voltage at the drivers, V.
    pub fn volts(&self) -> f64 {
        self.volts
    }

    /// Voltage at the drivers in the middle of the next step, V: the last step's slope goes on.
    #[inline]
    pub fn ahead_v(&self) -> f64 {
        (1.5 * self.volts - 0.5 * self.before_v).max(0.0)
    }

    /// Current drawn by the drivers over the last step, A.
    pub fn current_a(&self) -> f64 {
        self.current_a
    }

    /// One step from `now_s` with `power_w` drawn on average.
    ///
    /// The exact response of the capacitor to a constant current: towards V_s − R I while the
    /// source is connected, by I h / C and the bleed while it is not.
    pub fn advance(&mut self, power_w: f64, now_s: f64) {
        let (volts, current_a) = self.after(self.ahead_v(), power_w, now_s);
        self.current_a = current_a;
        self.before_v = self.volts;
        self.volts = volts;
    }

    /// Voltage in the middle of the step from `now_s` in which `power_w` would be drawn, V: better
    /// than [`Self::ahead_v`] where what is drawn has just changed.
    pub fn foresee_v(&self, power_w: f64, now_s: f64) -> f64 {
        let (volts, _) = self.after(self.ahead_v(), power_w, now_s);
        0.5 * (self.volts + volts)
    }

    /// Voltage and current after a step from `now_s` with `power_w` drawn at `ahead_v`.
    fn after(&self, ahead_v: f64, power_w: f64, now_s: f64) -> (f64, f64) {
        // Below a volt the drivers' bridges no longer conduct.
        let current_a = if ahead_v > 1.0 {
            power_w / ahead_v
        } else {
            0.0
        };
        let source = self.source_v(now_s + 0.5 * self.step_s);
        let volts = if source > 0.0 {
            let end = source - self.source_ohm * current_a;
            end + (self.volts - end) * self.connected_decay
        } else {
            self.volts * self.bleed_decay - current_a * self.step_s / self.bulk_f
        };
        (volts.max(0.0), current_a)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The source is steady from the end of its ramp on, not before.
    #[test]
    fn a_source_is_steady_after_its_ramp() {
        let mut supply = Supply::new(0.1, 2e-3, 24.0, 1e-4);
        assert!(supply.is_steady(0.0));
        supply.set(12.0, 0.5, 2.0);
        assert!(!supply.is_steady(2.25) && supply.source_v(2.25) == 18.0);
        assert!(supply.is_steady(2.5) && supply.source_v(2.5) == 12.0);
    }

    /// The drivers draw from a supply above one volt, P/V, and nothing from one at a volt.
    #[test]
    fn the_drivers_draw_nothing_at_a_volt() {
        let drawn = |volts: f64| {
            let mut supply = Supply::new(0.1, 2e-3, volts, 1e-4);
            supply.advance(2.0, 0.0);
            supply.current_a()
        };
        assert_eq!(drawn(1.0), 0.0);
        assert!((drawn(1.25) - 1.6).abs() < 1e-12);
    }

    /// The last step's slope goes on for half a step: 12.5 V after 10 V make 13.75 V. It never
    /// leads below zero.
    #[test]
    fn the_voltage_ahead_is_on_the_last_slope() {
        let mut supply = Supply::new(0.1, 2e-3, 12.5, 1e-4);
        supply.before_v = 10.0;
        assert_eq!(supply.ahead_v(), 13.75);
        (supply.volts, supply.before_v) = (1.0, 6.0);
        assert_eq!(supply.ahead_v(), 0.0);
    }
}
