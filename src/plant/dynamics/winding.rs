//! One winding of the stepper behind a chopping driver.

/// Constants of a winding for one half substep.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindingParams {
    resistance_ohm: f64,
    inductance_h: f64,
    decay: f64,
    gain: f64,
}

/// How the driver holds a winding.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Phase {
    /// Chopped towards a target current, A.
    Chopped(f64),
    /// Both ends open: the current dies through the bridge diodes against the supply.
    Open,
    /// The lead is broken: no current at all.
    Broken,
}

impl Phase {
    /// Whether it is `other`, bit for bit.
    #[inline]
    pub(crate) fn is_same(self, other: Self) -> bool {
        match (self, other) {
            (Self::Chopped(one_a), Self::Chopped(other_a)) => one_a.to_bits() == other_a.to_bits(),
            _ => self == other,
        }
    }
}

impl WindingParams {
    /// A winding of `resistance_ohm` and `inductance_h`, updated every `interval_s`.
    pub fn new(resistance_ohm: f64, inductance_h: f64, interval_s: f64) -> Self {
        let decay = libm::exp(-resistance_ohm * interval_s / inductance_h);
        Self {
            resistance_ohm,
            inductance_h,
            decay,
            gain: resistance_ohm / (1.0 - decay),
        }
    }

    /// Inductance, H.
    pub(crate) fn inductance_h(&self) -> f64 {
        self.inductance_h
    }

    /// Current after one interval and the voltage applied to reach it.
    ///
    /// Chopped: the dead-beat voltage v = e + R (i* − i x)/(1 − x), x = exp(−R h/L), reaches the
    /// target in one interval; where the supply cannot give it, the current relaxes towards
    /// (±supply − e)/R.
    #[inline]
    pub fn update(
        &self,
        current_a: f64,
        phase: Phase,
        back_emf_v: f64,
        supply_v: f64,
    ) -> (f64, f64) {
        match phase {
            Phase::Chopped(target_a) => {
                let wanted_v = back_emf_v + self.gain * (target_a - current_a * self.decay);
                if wanted_v.abs() <= supply_v {
                    (target_a, wanted_v)
                } else {
                    let v = supply_v.copysign(wanted_v);
                    (self.relax(current_a, v - back_emf_v), v)
                }
            }
            Phase::Open => {
                if current_a == 0.0 {
                    return (0.0, 0.0);
                }
                let v = -supply_v.copysign(current_a);
                let next = self.relax(current_a, v - back_emf_v);
                if next * current_a <= 0.0 {
                    (0.0, v)
                } else {
                    (next, v)
                }
            }
            Phase::Broken => (0.0, 0.0),
        }
    }

    fn relax(&self, current_a: f64, drive_v: f64) -> f64 {
        let end = drive_v / self.resistance_ohm;
        end + (current_a - end) * self.decay
    }
}
