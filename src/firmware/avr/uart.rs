//! USART0 of the ATmega2560 and the entry: the only file with unsafe code.
//!
//! The board does not sleep: QEMU 7.2 executes a `sleep` again and again after the interrupt that should end it. It looks at the queue in
//! RAM instead, which costs an emulator less than a look at a register.
//!
//! Register addresses, bits and vector numbers: ATmega640/1280/1281/2560/2561 data sheet, register summary and interrupt vectors.
#![allow(unsafe_code)]

use core::ptr::{read_volatile, write_volatile};
use core::sync::atomic::{AtomicU8, Ordering};

const UCSR0A: usize = 0xC0;
const UCSR0B: usize = 0xC1;
const UCSR0C: usize = 0xC2;
const UBRR0L: usize = 0xC4;
const UBRR0H: usize = 0xC5;
const UDR0: usize = 0xC6;

const UCSR0A_EMPTY: u8 = 1 << 5;
/// Receive interrupt, receiver and transmitter on.
const UCSR0B_ON: u8 = (1 << 4) | (1 << 3);
/// Eight bits, no parity, one stop bit.
const UCSR0C_8N1: u8 = 0b11 << 1;
/// 16 MHz / (16 * 1 000 000) - 1.
const UBRR_1000000: u8 = 0;

/// Bytes that have come and are not read yet: the interrupt puts them in, `main` takes them out. A power of two.
const QUEUE: usize = 128;
static BYTES: [AtomicU8; QUEUE] = [const { AtomicU8::new(0) }; QUEUE];
/// Place of the next byte to be put in; only the interrupt writes it.
static PUT: AtomicU8 = AtomicU8::new(0);
/// Place of the next byte to be taken out; only `main` writes it.
static TAKEN: AtomicU8 = AtomicU8::new(0);

/// USART0, set up. There is one owner: `run`.
pub struct Uart(());

impl Uart {
    /// Sets USART0 up and lets interrupts in.
    pub fn start() -> Self {
        set(UBRR0H, 0);
        set(UBRR0L, UBRR_1000000);
        set(UCSR0C, UCSR0C_8N1);
        set(UCSR0B, UCSR0B_ON);
        // What came before the receiver was on waits there (under QEMU) and is no frame.
        get(UDR0);
        Self(())
    }

    /// The next byte that has come.
    pub fn read(&mut self) -> Option<u8> {
        if get(UCSR0A) & 0x80 == 0 { return None; }
        let byte = get(UDR0);
        Some(byte)
    }

    /// Sends bytes, waiting for the transmitter.
    pub fn write(&mut self, bytes: &[u8]) {
        for byte in bytes {
            while get(UCSR0A) & UCSR0A_EMPTY == 0 {}
            set(UDR0, *byte);
        }
    }
}

/// A byte has come (vector 25, USART0 receive complete). Reading it takes the interrupt back. A byte that finds the queue full is
/// dropped; the frame's CRC finds it.
// SAFETY: the symbol is the vector's name in avr-libc's table, and nothing else defines it.
#[unsafe(no_mangle)]
extern "avr-interrupt" fn __vector_25() {
    let byte = get(UDR0);
    let put = PUT.load(Ordering::Acquire);
    if usize::from(put.wrapping_sub(TAKEN.load(Ordering::Acquire))) < QUEUE {
        BYTES[usize::from(put) % QUEUE].store(byte, Ordering::Release);
        PUT.store(put.wrapping_add(1), Ordering::Release);
    }
}

/// Where the C runtime goes when memory is set up.
// SAFETY: the C runtime calls the symbol `main` once and never returns to it; nothing else defines it.
#[unsafe(no_mangle)]
extern "C" fn main() -> ! {
    crate::run()
}

fn get(register: usize) -> u8 {
    // SAFETY: every caller passes one of the register addresses above, always present on this chip. Reading one touches no memory
    // that Rust owns.
    unsafe { read_volatile(register as *const u8) }
}

fn set(register: usize, value: u8) {
    // SAFETY: as for `get`; a write sets up the USART or the sleep mode and changes no memory that Rust owns.
    unsafe { write_volatile(register as *mut u8, value) }
}
