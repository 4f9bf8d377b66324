//! The account of what a twin may have: its energy at the beginning, and work put in. `guard.rs`
//! looks at it.

/// Share by which what is put in is counted too high, so that the scheme's own error raises no
/// alarm.
pub(crate) const WORK_SLACK: f64 = 0.1;

/// Energy of the twin: what it had, what was put in.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Account {
    /// Energy at the beginning, J.
    pub(crate) start_j: f64,
    /// Work of hand, pushes, supply and faults, where positive, J.
    pub(crate) put_in_j: f64,
    /// The same over the tick that is being computed, or was last, J.
    pub(crate) tick_j: f64,
    /// What the bound has beside them, J.
    pub(crate) slack_j: f64,
}

impl Account {
    /// Adds work done on the twin, J; what it gives back is not taken off, as friction may have had
    /// it before.
    #[inline]
    pub(crate) fn put_in(&mut self, work_j: f64) {
        self.tick_j += work_j.max(0.0);
    }

    /// Adds work done between two ticks, J.
    pub(crate) fn put_in_at_once(&mut self, work_j: f64) {
        self.put_in_j += work_j.max(0.0);
    }

    /// A tick begins.
    pub(crate) fn begin_tick(&mut self) {
        self.tick_j = 0.0;
    }

    /// A tick is over; called alone, it was one like the last.
    pub(crate) fn end_tick(&mut self) {
        self.put_in_j += self.tick_j;
    }

    pub(crate) fn limit_j(&self) -> f64 {
        self.start_j + (1.0 + WORK_SLACK) * self.put_in_j + self.slack_j
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of what is put in, a tenth more is allowed for; what is given back is not taken off, and a
    /// tick that is skipped was one like the last.
    #[test]
    fn an_account_allows_for_what_was_put_in() {
        let mut account = Account {
            start_j: 5.0,
            slack_j: 2.0,
            ..Account::default()
        };
        let expect = |account: &Account, put_in_j: f64| {
            let found = account.limit_j();
            assert!((found - (7.0 + 1.1 * put_in_j)).abs() < 1e-12, "{found}");
        };
        account.put_in_at_once(3.0);
        account.put_in_at_once(-1.0);
        expect(&account, 3.0);
        account.begin_tick();
        account.put_in(0.5);
        account.put_in(-0.25);
        expect(&account, 3.0);
        account.end_tick();
        expect(&account, 3.5);
        account.end_tick();
        expect(&account, 4.0);
        account.begin_tick();
        account.put_in(0.0);
        account.end_tick();
        expect(&account, 4.0);
    }
}
