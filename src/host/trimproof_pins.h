/* trimproof_pins.h: the small interface between a firmware source and the pins of a proof run.
 *
 * A program supplies setup() and loop(); the core supplies everything below and main(). Time is
 * virtual: it moves only inside these calls, by the amounts in costs.h, so the same inputs always
 * give the same run. C99 and C++11. A program never needs a thread, a timer or a file.
 */
#ifndef TRIMPROOF_PINS_H
#define TRIMPROOF_PINS_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* A pin by its chip name: TP_PIN('B', 5) is PB5. The chips have no port I. */
#define TP_PIN(port, bit) ((uint8_t)(((port) - 'A') * 8 + (bit)))

/* ---- what the program supplies ---- */

void setup(void); /* once */
void loop(void);  /* again and again */

/* ---- time ---- */

/* Nanoseconds and microseconds that the chip's clock has counted: virtual time since the run began
 * plus the offset that the run gives. The microseconds wrap at 32 bits, as a chip's counter. */
uint64_t tp_now_ns(void);
uint32_t tp_now_us(void);

/* Wait. A pin interrupt runs in between; it lengthens the wait only if it lasts beyond its end. */
void tp_wait_ns(uint64_t ns);
void tp_wait_us(uint32_t us);

/* Work of the program that the core cannot see: spends that many cycles of the chip's clock. */
void tp_spend_cycles(uint32_t cycles);

/* ---- pins ---- */

enum { TP_INPUT = 0, TP_OUTPUT = 1, TP_INPUT_PULLUP = 2 };

/* OUTPUT drives the level written last (low at the start). INPUT has no pull-up. */
void tp_pin_mode(uint8_t pin, int mode);

/* The level at the pin: what the chip drives, else what drives it from outside, else the pull-up;
 * a floating pin without pull-up reads low. */
bool tp_read_pin(uint8_t pin);

/* Sets the level of an output, or the pull-up of an input. */
void tp_write_pin(uint8_t pin, bool high);

/* One conversion of ADC channel 0..=15: 0..=1023, from the voltage at the instant of sampling. */
uint16_t tp_read_adc(uint8_t channel);

/* Pin interrupts: the pins that have an external interrupt of their own (INT0..INT7).
 * False if the pin has none. The handler runs at the instant of the change, between instructions
 * that are calls of this interface; its own calls cost time. */
enum { TP_LOW = 0, TP_CHANGE = 1, TP_FALLING = 2, TP_RISING = 3 };
bool tp_attach_interrupt(uint8_t pin, void (*handler)(void), int mode);
void tp_detach_interrupt(uint8_t pin);
void tp_interrupts(bool on);
bool tp_interrupts_are_on(void);

/* A square wave on a pin: high and low in cycles of the chip's clock. edges 0: until stopped.
 * Stopping leaves the pin as the last edge left it. At most 16 waves at once (false beyond). */
bool tp_start_wave(uint8_t pin, uint64_t high_cycles, uint64_t low_cycles, uint64_t edges);
void tp_stop_wave(uint8_t pin);

/* PWM of a timer that has run since the start: high_cycles of period_cycles, in the middle of the
 * period (phase-correct) or at its beginning (fast). Called again with the same period it keeps the
 * phase, and the new length begins with the next period. tp_stop_wave() ends it; the pin then has
 * the level that was written before. False as above, or if the length is 0 or the period. */
bool tp_start_pwm(uint8_t pin, uint64_t high_cycles, uint64_t period_cycles, bool centred);

/* ---- serial ports: 0..=3 are USARTs, 8 is the USB port of the 32U4 ---- */

/* baud 0 closes the port; what has not left is lost. */
void tp_serial_begin(uint8_t port, uint32_t baud);
/* Blocks while the 64-byte buffer is full. Before tp_serial_begin the byte is lost. */
void tp_serial_write(uint8_t port, uint8_t byte);
void tp_serial_flush(uint8_t port);
int tp_serial_room(uint8_t port); /* bytes that a write takes without blocking */

/* ---- EEPROM: 0xFF where nothing was written; addresses wrap at its size ---- */

uint32_t tp_eeprom_size(void);
uint8_t tp_eeprom_read(uint32_t address);
/* The cell is busy for 3.4 ms; the next access of the EEPROM waits for it. */
void tp_eeprom_write(uint32_t address, uint8_t byte);

/* ---- watchdog: period 0 (16 ms) to 9 (8 s), as the WDP bits count ---- */

void tp_watchdog_start(int period);
void tp_watchdog_reset(void);
void tp_watchdog_stop(void);

/* Ends the run with a text for people. */
void tp_give_up(const char *text) __attribute__((noreturn));

#ifdef __cplusplus
}
#endif
#endif
