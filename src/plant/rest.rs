//! Ticks that change nothing are not computed again.
//!
//! The twin is a function of its state and of what acts on it. A tick that left every bit of the
//! state as it was, and after which the same acts on it, would do so again: its end is already
//! known, so it is skipped and no bit of a trace differs. What is compared is the whole state,
//! written down at the start of a tick, when every command and event of that instant is in, and at
//! its end. A rate that is not zero moves something, so nothing is written down while there is one.

use crate::state_bits::StateBits;
use crate::twin::Plant;

impl Plant {
    /// Whether the stretch to come, a tick or a part of it, changes nothing, as the last one did
    /// not.
    pub(crate) fn rests(&mut self, periods: u32) -> bool {
        let begin_s = self.now_s();
        let end_s = if periods == self.periods {
            begin_s + self.tick_s
        } else {
            begin_s + f64::from(periods) / f64::from(self.periods) * self.tick_s
        };
        let is_steady = self.stands_still()
            && self.hand.is_steady(begin_s, end_s)
            && self.supply.is_steady(begin_s);
        let mut rest = std::mem::take(&mut self.rest);
        rest.other.clear();
        if is_steady {
            self.note(&mut rest.other);
        }
        let rests = is_steady && rest.is_fixed && rest.other == rest.start;
        if !rests {
            rest.is_fixed = false;
            std::mem::swap(&mut rest.start, &mut rest.other);
        }
        self.rest = rest;
        rests
    }

    /// Compares the end of a tick that was computed with its start.
    pub(crate) fn note_rest(&mut self) {
        if self.rest.start.is_empty() || !self.stands_still() {
            return;
        }
        let mut rest = std::mem::take(&mut self.rest);
        rest.other.clear();
        self.note(&mut rest.other);
        rest.is_fixed = rest.other == rest.start;
        self.rest = rest;
    }

    /// Whether nothing moves and no step is asked for.
    fn stands_still(&self) -> bool {
        self.stick.rate_rad_per_s == [0.0; 2]
            && self.axis.iter().all(|axis| {
                axis.generator.rate() == 0
                    && axis.train.shaft_rad_per_s == 0.0
                    && axis.train.rotor_rad_per_s == 0.0
            })
    }

    /// Writes down all that a tick reads or changes, but for the time, what samples read, and work
    /// put in.
    fn note(&self, bits: &mut StateBits) {
        bits.numbers(&self.stick.angle_rad);
        bits.numbers(&self.stick.rate_rad_per_s);
        bits.numbers(&self.accel);
        for (stuck, held) in self.stick.stuck.iter().zip(&self.stick.held) {
            bits.count(u64::from(*stuck));
            bits.numbers(&[held.last_nms, held.before_nms]);
        }
        self.mid.note(bits);
        for axis in &self.axis {
            axis.train.note(bits);
            axis.driver.note(bits);
            bits.count(u64::from(axis.generator.fraction()));
            bits.count(u64::from(axis.broken_springs));
            bits.count(u64::from(axis.was_driving));
            bits.numbers(&[axis.lag_zero_rad]);
        }
        self.surroundings.note(bits);
        bits.numbers(&self.contact.torque_n_m);
        bits.numbers(&self.contact.early_rad);
        self.hand.note(self.now_s(), bits);
        self.supply.note(self.now_s(), bits);
    }
}

#[cfg(test)]
mod tests;
