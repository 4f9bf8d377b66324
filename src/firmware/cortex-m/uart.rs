//! UART0 of the lm3s6965, a PL011, and the sleep until it has something: the only file with unsafe
//! code.
//!
//! Register names and places: PrimeCell UART (PL011) technical reference manual, ARM DDI 0183,
//! section 3.2; UART0's base and interrupt: LM3S6965 data sheet, memory map and interrupt table.
#![allow(unsafe_code)]

use core::ptr::{read_volatile, write_volatile};
use cortex_m::interrupt::InterruptNumber;
use cortex_m::peripheral::NVIC;

const UART0: usize = 0x4000_C000;
const DATA: usize = UART0;
const FLAGS: usize = UART0 + 0x18;
const BAUD_WHOLE: usize = UART0 + 0x24;
const BAUD_64THS: usize = UART0 + 0x28;
const LINE: usize = UART0 + 0x2C;
const CONTROL: usize = UART0 + 0x30;
const INTERRUPTS: usize = UART0 + 0x38;
/// Run-mode clock gates of the UARTs and of the ports, LM3S6965 system control.
const GATE_UARTS: usize = 0x400F_E104;
const GATE_PORTS: usize = 0x400F_E108;
/// Alternate functions and digital enable of port A, whose pins 0 and 1 are UART0's.
const PORT_A_ALTERNATE: usize = 0x4000_4420;
const PORT_A_DIGITAL: usize = 0x4000_451C;

const FLAG_RECEIVE_EMPTY: u32 = 1 << 4;
const FLAG_TRANSMIT_EMPTY: u32 = 1 << 7;
/// Length of the queues, bytes.
const QUEUE: usize = 16;
/// Eight bits, queues on.
const LINE_8_QUEUED: u32 = (0b11 << 5) | (1 << 4);
/// UART, transmitter and receiver on.
const CONTROL_ON: u32 = 1 | (1 << 8) | (1 << 9);
/// Receive queue filled to its mark, and receive time-out (less has come, and then a pause).
const INTERRUPT_RECEIVE: u32 = (1 << 4) | (1 << 6);

/// The clock after a reset is the 12 MHz internal oscillator, as QEMU has it: 12 MHz / (16 * 500
/// 000) = 1 + 32/64.
const DIVISOR_500000: (u32, u32) = (1, 32);

#[derive(Clone, Copy)]
struct Uart0Interrupt;

// SAFETY: 5 is UART0's place in the LM3S6965 interrupt table, below the 240 that a Cortex-M3 can
// have.
unsafe impl InterruptNumber for Uart0Interrupt {
    fn number(self) -> u16 {
        5
    }
}

/// UART0, set up. There is one owner: `main`.
pub struct Uart(());

impl Uart {
    /// Sets UART0 up. Interrupts are masked for good: they only end a sleep, no handler ever runs.
    pub fn start() -> Self {
        cortex_m::interrupt::disable();
        set(GATE_UARTS, get(GATE_UARTS) | 1);
        set(GATE_PORTS, get(GATE_PORTS) | 1);
        set(PORT_A_ALTERNATE, get(PORT_A_ALTERNATE) | 0b11);
        set(PORT_A_DIGITAL, get(PORT_A_DIGITAL) | 0b11);
        set(CONTROL, 0);
        set(BAUD_WHOLE, DIVISOR_500000.0);
        set(BAUD_64THS, DIVISOR_500000.1);
        // After the divisors: writing the line register takes them over.
        set(LINE, LINE_8_QUEUED);
        set(INTERRUPTS, INTERRUPT_RECEIVE);
        set(CONTROL, CONTROL_ON);
        // SAFETY: interrupts are masked, so unmasking this line breaks no critical section and
        // starts no handler.
        unsafe { NVIC::unmask(Uart0Interrupt) };
        Self(())
    }

    /// Forgets the interrupt that ended the last sleep. To be called before the queue is emptied,
    /// so that a byte that comes after the last look ends the next sleep at once.
    pub fn expect_more(&mut self) {
        NVIC::unpend(Uart0Interrupt);
    }

    /// The next byte that has come.
    pub fn read(&mut self) -> Option<u8> {
        if get(FLAGS) & FLAG_RECEIVE_EMPTY != 0 {
            return None;
        }
        // Errors stand above the byte; the frame's CRC finds what they damage.
        Some(get(DATA) as u8)
    }

    /// Sends bytes, a queue full at a time: each look at a register costs an emulator as much as a
    /// byte.
    pub fn write(&mut self, bytes: &[u8]) {
        for part in bytes.chunks(QUEUE) {
            while get(FLAGS) & FLAG_TRANSMIT_EMPTY == 0 {}
            for byte in part {
                set(DATA, u32::from(*byte));
            }
        }
    }

    /// Sleeps until a byte comes; returns at once if one has come since [`Self::expect_more`].
    pub fn sleep(&mut self) {
        cortex_m::asm::wfi();
    }
}

fn get(register: usize) -> u32 {
    // SAFETY: every caller passes one of the register addresses above: word-sized, aligned, always
    // mapped on this chip. Reading one touches no memory that Rust owns.
    unsafe { read_volatile(register as *const u32) }
}

fn set(register: usize, value: u32) {
    // SAFETY: as for `get`; a write sets up the UART, its clock or its pins and changes no memory
    // that Rust owns.
    unsafe { write_volatile(register as *mut u32, value) }
}
