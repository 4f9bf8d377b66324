//! Image for an ATmega2560: the shared loop over USART0.
//!
//! The board has no motors and runs ticks as it is asked for them.
#![no_std]
#![no_main]

mod uart;

use trimproof_board::{BoardAbout, Pins};
use trimproof_io::Command;
use uart::Uart;

/// Who this image is.
const ABOUT: BoardAbout = BoardAbout {
    board: "avr atmega2560",
    tick_hz: 0,
    has_motors: false,
};

/// The board has no motors: it never allows motion, so nothing trips by silence and no clock is
/// needed.
const NO_CLOCK_MS: u32 = 0;

struct NoPins;

impl Pins for NoPins {
    fn apply(&mut self, _command: &Command) {}
    fn off(&mut self) {}
    fn tick_done(&mut self) {}
}

/// Serves the link for ever. Called once, after the C runtime has set memory up.
fn run() -> ! {
    let mut uart = Uart::start();
    let mut board = trimproof_board::Board::new(ABOUT);
    let mut pins = NoPins;
    loop {
        if let Some(byte) = uart.read()
            && let Some(frame) = board.take(byte, NO_CLOCK_MS, &mut pins)
        {
            uart.write(frame);
        }
    }
}

/// Stands still: without a completed tick no watchdog is fed.
#[panic_handler]
fn halt(_info: &core::panic::PanicInfo) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
