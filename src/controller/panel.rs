//! The pilot's switches: trim release, force trim and the four hat directions, made clean.

use crate::Settings;
use crate::debounce::{DebounceTicks, Debounced};
use crate::units::ticks;
use trimproof_io::{AXES, Switches};

/// Times of the switches, in ticks.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PanelConfig {
    debounce: DebounceTicks,
    hat_stuck: u32,
    hat_conflict: u32,
    release_stuck: u32,
}

impl PanelConfig {
    pub(crate) fn new(settings: &Settings) -> Self {
        let short = |ms: u16| ticks(ms.into(), settings.tick_hz).min(u32::from(u16::MAX)) as u16;
        Self {
            debounce: DebounceTicks {
                press: short(settings.debounce_press_ms),
                let_go: short(settings.debounce_let_go_ms),
            },
            hat_stuck: ticks(settings.hat_stuck_ms, settings.tick_hz),
            hat_conflict: ticks(settings.hat_conflict_ms.into(), settings.tick_hz),
            release_stuck: ticks(settings.release_stuck_ms, settings.tick_hz),
        }
    }
}

/// One direction of the hat. It counts only after it has been seen open, so that a hat that is
/// closed when the drives come on moves nothing.
#[derive(Clone, Copy, Debug)]
struct HatDirection {
    contact: Debounced,
    armed: bool,
    closed_ticks: u32,
    stuck: bool,
}

impl HatDirection {
    const NEW: Self = Self {
        contact: Debounced::new(true),
        armed: false,
        closed_ticks: 0,
        stuck: false,
    };

    fn step(&mut self, raw: bool, config: &PanelConfig) {
        self.contact.step(raw, config.debounce);
        if self.contact.closed() {
            self.closed_ticks = self.closed_ticks.saturating_add(1);
            self.stuck = self.closed_ticks >= config.hat_stuck;
        } else {
            self.armed = true;
            self.closed_ticks = 0;
            self.stuck = false;
        }
    }

    const fn pressed(self) -> bool {
        self.contact.closed() && self.armed && !self.stuck
    }
}

/// The two opposite hat directions of one axis.
#[derive(Clone, Copy, Debug)]
struct Hat {
    plus: HatDirection,
    minus: HatDirection,
    both_ticks: u32,
}

impl Hat {
    const NEW: Self = Self {
        plus: HatDirection::NEW,
        minus: HatDirection::NEW,
        both_ticks: 0,
    };

    fn step(&mut self, plus: bool, minus: bool, config: &PanelConfig) {
        self.plus.step(plus, config);
        self.minus.step(minus, config);
        let both = self.plus.pressed() && self.minus.pressed();
        self.both_ticks = if both {
            self.both_ticks.saturating_add(1)
        } else {
            0
        };
    }

    const fn direction(self) -> i8 {
        self.plus.pressed() as i8 - self.minus.pressed() as i8
    }

    fn disarm(&mut self) {
        for direction in [&mut self.plus, &mut self.minus] {
            if direction.contact.closed() {
                direction.armed = false;
            }
        }
    }
}

/// All switches.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SwitchPanel {
    release: Debounced,
    release_ticks: u32,
    force_trim: Debounced,
    force_trim_closed_now: bool,
    hats: [Hat; AXES],
}

impl SwitchPanel {
    /// Before the first reading: release open, force trim off, every hat closed until seen open.
    pub(crate) const NEW: Self = Self {
        release: Debounced::new(false),
        release_ticks: 0,
        force_trim: Debounced::new(false),
        force_trim_closed_now: false,
        hats: [Hat::NEW; AXES],
    };

    /// Takes the raw levels of one tick.
    pub(crate) fn step(&mut self, raw: &Switches, config: &PanelConfig) {
        self.release.step(raw.release, config.debounce);
        self.release_ticks = if self.release.closed() {
            self.release_ticks.saturating_add(1)
        } else {
            0
        };
        let changed = self.force_trim.step(raw.force_trim, config.debounce);
        self.force_trim_closed_now = changed && self.force_trim.closed();
        let [pitch, roll] = &mut self.hats;
        pitch.step(raw.hat_aft, raw.hat_fore, config);
        roll.step(raw.hat_right, raw.hat_left, config);
    }

    /// Hat directions that are closed now count only after they have been seen open.
    pub(crate) fn disarm_hats(&mut self) {
        for hat in &mut self.hats {
            hat.disarm();
        }
    }

    /// Whether the trim release counts as pressed.
    pub(crate) const fn release(&self) -> bool {
        self.release.closed()
    }

    /// Whether the force-trim switch counts as on.
    pub(crate) const fn force_trim(&self) -> bool {
        self.force_trim.closed()
    }

    /// Whether the force-trim switch has gone on in this very tick.
    pub(crate) const fn force_trim_switched_on(&self) -> bool {
        self.force_trim_closed_now
    }

    /// Direction that the hat asks of each axis: -1, 0 or 1.
    pub(crate) fn directions(&self) -> [i8; AXES] {
        self.hats.map(Hat::direction)
    }

    /// Whether a hat direction has been closed for too long.
    pub(crate) fn hat_stuck(&self) -> bool {
        self.hats
            .iter()
            .any(|hat| hat.plus.stuck || hat.minus.stuck)
    }

    /// Whether opposite hat directions have been closed together for long enough to be reported.
    pub(crate) fn hat_conflict(&self, config: &PanelConfig) -> bool {
        self.hats
            .iter()
            .any(|hat| hat.both_ticks >= config.hat_conflict)
    }

    /// Whether the release has been closed for too long.
    pub(crate) const fn release_stuck(&self, config: &PanelConfig) -> bool {
        self.release_ticks >= config.release_stuck
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimproof_io::{PITCH, ROLL};

    fn config() -> PanelConfig {
        PanelConfig::new(&Settings::example())
    }

    fn hold(panel: &mut SwitchPanel, raw: Switches, ticks: u32) {
        for _ in 0..ticks {
            panel.step(&raw, &config());
        }
    }

    fn aft() -> Switches {
        Switches {
            hat_aft: true,
            ..Switches::default()
        }
    }

    #[test]
    fn each_hat_direction_has_its_axis_and_sign() {
        for (raw, wanted) in [
            (
                Switches {
                    hat_fore: true,
                    ..Switches::default()
                },
                [-1, 0],
            ),
            (
                Switches {
                    hat_aft: true,
                    ..Switches::default()
                },
                [1, 0],
            ),
            (
                Switches {
                    hat_left: true,
                    ..Switches::default()
                },
                [0, -1],
            ),
            (
                Switches {
                    hat_right: true,
                    ..Switches::default()
                },
                [0, 1],
            ),
            (
                Switches {
                    hat_aft: true,
                    hat_left: true,
                    ..Switches::default()
                },
                [1, -1],
            ),
        ] {
            let mut panel = SwitchPanel::NEW;
            hold(&mut panel, Switches::default(), 30);
            hold(&mut panel, raw, 4);
            assert_eq!(panel.directions(), [0, 0], "4 readings span 6 ms");
            hold(&mut panel, raw, 1);
            assert_eq!(panel.directions(), wanted, "{raw:?}");
        }
    }

    #[test]
    fn hat_closed_from_the_start_counts_after_it_was_open() {
        let mut panel = SwitchPanel::NEW;
        hold(&mut panel, aft(), 100);
        assert_eq!(panel.directions()[PITCH], 0);
        hold(&mut panel, Switches::default(), 26);
        hold(&mut panel, aft(), 5);
        assert_eq!(panel.directions()[PITCH], 1);
        panel.disarm_hats();
        assert_eq!(panel.directions()[PITCH], 0);
    }

    #[test]
    fn opposite_directions_cancel_and_are_reported() {
        let mut panel = SwitchPanel::NEW;
        hold(&mut panel, Switches::default(), 30);
        let both = Switches {
            hat_left: true,
            hat_right: true,
            ..Switches::default()
        };
        hold(&mut panel, both, 5);
        assert_eq!(panel.directions()[ROLL], 0);
        assert!(!panel.hat_conflict(&config()));
        hold(&mut panel, both, 49);
        assert!(panel.hat_conflict(&config()), "100 ms");
        hold(
            &mut panel,
            Switches {
                hat_right: true,
                ..Switches::default()
            },
            26,
        );
        assert_eq!(panel.directions()[ROLL], 1);
        assert!(!panel.hat_conflict(&config()));
    }

    #[test]
    fn stuck_hat_is_ignored_until_open_and_the_other_way_works() {
        let mut panel = SwitchPanel::NEW;
        hold(&mut panel, Switches::default(), 30);
        hold(&mut panel, aft(), 10_003);
        assert_eq!((panel.directions()[PITCH], panel.hat_stuck()), (1, false));
        hold(&mut panel, aft(), 1);
        assert_eq!((panel.directions()[PITCH], panel.hat_stuck()), (0, true));
        hold(
            &mut panel,
            Switches {
                hat_fore: true,
                ..aft()
            },
            5,
        );
        assert_eq!(panel.directions()[PITCH], -1);
        hold(&mut panel, Switches::default(), 26);
        assert!(!panel.hat_stuck());
        hold(&mut panel, aft(), 5);
        assert_eq!(panel.directions()[PITCH], 1);
    }

    #[test]
    fn release_held_too_long_is_reported() {
        let mut panel = SwitchPanel::NEW;
        let raw = Switches {
            release: true,
            ..Switches::default()
        };
        hold(&mut panel, raw, 30_003);
        assert!(panel.release() && !panel.release_stuck(&config()));
        hold(&mut panel, raw, 1);
        assert!(panel.release_stuck(&config()), "60 s");
    }
}
