//! One number for everything that a controller answered.
//!
//! Used on both sides of the replay, see `tests/coverage/decisions/`.

use trimproof_io::Outputs;

/// FNV-1a over the answers.
#[derive(Clone, Copy)]
pub struct Answers(u64);

impl Answers {
    /// Before the first answer.
    pub const fn new() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }

    /// Takes the answer of one tick.
    pub fn take(&mut self, outputs: &Outputs) {
        let (command, telemetry) = (&outputs.command, &outputs.telemetry);
        self.word(telemetry.state as u32);
        self.word(telemetry.faults.bits().into());
        for (asked, reported) in command.axis.iter().zip(&telemetry.axis) {
            self.word(u32::from(asked.enable) | u32::from(asked.home) << 1);
            self.word(asked.step_rate as u32);
            self.word(asked.current as u32);
            self.word(asked.joystick as u32);
            self.word(reported.stick_mdeg as u32);
            self.word(reported.reference_mdeg as u32);
            self.word(reported.drive_mdeg as u32);
        }
    }

    /// The number so far.
    pub const fn number(self) -> u64 {
        self.0
    }

    fn word(&mut self, word: u32) {
        for byte in word.to_le_bytes() {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        }
    }
}
