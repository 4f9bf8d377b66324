//! Image for a Cortex-M3 board: the shared loop over UART0.
//!
//! The board has no motors and runs ticks as it is asked for them; it sleeps while nothing comes.
#![no_std]
#![no_main]

mod uart;

use cortex_m_rt::entry;
use trimproof_board::{Board, BoardAbout, Pins};
use trimproof_io::Command;
use uart::Uart;

/// Who this image is.
const ABOUT: BoardAbout = BoardAbout {
    board: "cortex-m3 lm3s6965",
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

#[entry]
fn main() -> ! {
    let mut uart = Uart::start();
    let mut board = Board::new(ABOUT);
    let mut pins = NoPins;
    loop {
        uart.expect_more();
        while let Some(byte) = uart.read() {
            if let Some(frame) = board.take(byte, NO_CLOCK_MS, &mut pins) {
                uart.write(frame);
            }
        }
        uart.sleep();
    }
}

/// Stands still: without a completed tick no watchdog is fed.
#[panic_handler]
fn halt(_info: &core::panic::PanicInfo) -> ! {
    loop {
        cortex_m::asm::nop();
    }
}
