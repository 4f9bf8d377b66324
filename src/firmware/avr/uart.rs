//! USART0 of the ATmega2560 and the entry: the only file with unsafe code.
//!
//! The board asks the USART instead of sleeping: QEMU 7.2 executes a `sleep` again and again after
//! the interrupt that should end it. No interrupt is used.
//!
//! Register addresses and bits: ATmega640/1280/1281/2560/2561 data sheet, register summary.
#![allow(unsafe_code)]

use core::ptr::{read_volatile, write_volatile};

const UCSR0A: usize = 0xC0;
const UCSR0B: usize = 0xC1;
const UCSR0C: usize = 0xC2;
const UBRR0L: usize = 0xC4;
const UBRR0H: usize = 0xC5;
const UDR0: usize = 0xC6;

const UCSR0A_RECEIVED: u8 = 1 << 7;
const UCSR0A_EMPTY: u8 = 1 << 5;
/// Receiver and transmitter on.
const UCSR0B_ON: u8 = (1 << 4) | (1 << 3);
/// Eight bits, no parity, one stop bit.
const UCSR0C_8N1: u8 = 0b11 << 1;
/// 16 MHz / (16 * 500 000) - 1.
const UBRR_500000: u8 = 1;

/// USART0, set up. There is one owner: `run`.
pub struct Uart(());

impl Uart {
    /// Sets USART0 up.
    pub fn start() -> Self {
        set(UBRR0H, 0);
        set(UBRR0L, UBRR_500000);
        set(UCSR0C, UCSR0C_8N1);
        set(UCSR0B, UCSR0B_ON);
        // What came before the receiver was on waits there (under QEMU) and is no frame.
        get(UDR0);
        Self(())
    }

    /// The next byte that has come.
    pub fn read(&mut self) -> Option<u8> {
        if get(UCSR0A) & UCSR0A_RECEIVED == 0 {
            return None;
        }
        // An error is not looked at; the frame's CRC finds what it damages.
        Some(get(UDR0))
    }

    /// Sends bytes, waiting for the transmitter.
    pub fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            while get(UCSR0A) & UCSR0A_EMPTY == 0 {}
            set(UDR0, *byte);
        }
    }
}

/// Where the C runtime goes when memory is set up.
// SAFETY: the C runtime calls the symbol `main` once and never returns to it; nothing else defines
// it.
#[unsafe(no_mangle)]
extern "C" fn main() -> ! {
    crate::run()
}

fn get(register: usize) -> u8 {
    // SAFETY: every caller passes one of the register addresses above, always present on this chip.
    // Reading one touches no memory that Rust owns.
    unsafe { read_volatile(register as *const u8) }
}

fn set(register: usize, value: u8) {
    // SAFETY: as for `get`; a write sets up the USART or the sleep mode and changes no memory that
    // Rust owns.
    unsafe { write_volatile(register as *mut u8, value) }
}
