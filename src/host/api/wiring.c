/* wiring.c: the C part of the common setup()/loop() API: pins by board number, time, waves. */
#include "Arduino.h"

#include "core.h"

#define P(port, bit) TP_PIN(port, bit)

/* From a board's pin number to the port pin. Common practice, no source. */
#if defined(TP_CHIP_ATMEGA2560)
const char tpc_board_chip[] = "atmega2560";
static const uint8_t board_pins[NUM_DIGITAL_PINS] = {
    /*  0 */ P('E', 0), P('E', 1), P('E', 4), P('E', 5), P('G', 5), P('E', 3), P('H', 3), P('H', 4),
    /*  8 */ P('H', 5), P('H', 6), P('B', 4), P('B', 5), P('B', 6), P('B', 7), P('J', 1), P('J', 0),
    /* 16 */ P('H', 1), P('H', 0), P('D', 3), P('D', 2), P('D', 1), P('D', 0), P('A', 0), P('A', 1),
    /* 24 */ P('A', 2), P('A', 3), P('A', 4), P('A', 5), P('A', 6), P('A', 7), P('C', 7), P('C', 6),
    /* 32 */ P('C', 5), P('C', 4), P('C', 3), P('C', 2), P('C', 1), P('C', 0), P('D', 7), P('G', 2),
    /* 40 */ P('G', 1), P('G', 0), P('L', 7), P('L', 6), P('L', 5), P('L', 4), P('L', 3), P('L', 2),
    /* 48 */ P('L', 1), P('L', 0), P('B', 3), P('B', 2), P('B', 1), P('B', 0), P('F', 0), P('F', 1),
    /* 56 */ P('F', 2), P('F', 3), P('F', 4), P('F', 5), P('F', 6), P('F', 7), P('K', 0), P('K', 1),
    /* 64 */ P('K', 2), P('K', 3), P('K', 4), P('K', 5), P('K', 6), P('K', 7),
};
static const uint8_t pwm_pins[] = {2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 44, 45, 46};
static const uint8_t fast_pwm_pins[] = {4, 13}; /* timer 0 */
static const uint8_t interrupt_pins[] = {2, 3, 21, 20, 19, 18};
static const uint8_t channels[] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15};

#elif defined(TP_CHIP_ATMEGA328P)
const char tpc_board_chip[] = "atmega328p";
static const uint8_t board_pins[NUM_DIGITAL_PINS] = {
    /*  0 */ P('D', 0), P('D', 1), P('D', 2), P('D', 3), P('D', 4), P('D', 5), P('D', 6), P('D', 7),
    /*  8 */ P('B', 0), P('B', 1), P('B', 2), P('B', 3), P('B', 4), P('B', 5), P('C', 0), P('C', 1),
    /* 16 */ P('C', 2), P('C', 3), P('C', 4), P('C', 5),
};
static const uint8_t pwm_pins[] = {3, 5, 6, 9, 10, 11};
static const uint8_t fast_pwm_pins[] = {5, 6};
static const uint8_t interrupt_pins[] = {2, 3};
static const uint8_t channels[] = {0, 1, 2, 3, 4, 5, 6, 7};

#else
const char tpc_board_chip[] = "atmega32u4";
static const uint8_t board_pins[NUM_DIGITAL_PINS] = {
    /*  0 */ P('D', 2), P('D', 3), P('D', 1), P('D', 0), P('D', 4), P('C', 6), P('D', 7), P('E', 6),
    /*  8 */ P('B', 4), P('B', 5), P('B', 6), P('B', 7), P('D', 6), P('C', 7), P('B', 3), P('B', 1),
    /* 16 */ P('B', 2), P('B', 0), P('F', 7), P('F', 6), P('F', 5), P('F', 4), P('F', 1), P('F', 0),
    /* 24 */ P('D', 4), P('D', 7), P('B', 4), P('B', 5), P('B', 6), P('D', 6), P('D', 5),
};
static const uint8_t pwm_pins[] = {3, 5, 6, 9, 10, 11, 13};
static const uint8_t fast_pwm_pins[] = {3, 11};
static const uint8_t interrupt_pins[] = {3, 2, 0, 1, 7};
static const uint8_t channels[] = {7, 6, 5, 4, 1, 0, 8, 10, 11, 12, 13, 9};
#endif

const uint32_t tpc_board_hz = F_CPU;

static bool is_in(uint8_t number, const uint8_t *list, size_t length)
{
    return memchr(list, number, length) != NULL;
}

uint8_t tpc_board_pin(uint8_t number)
{
    if (number >= NUM_DIGITAL_PINS) {
        tp_give_up("a call names a digital pin number that the board does not have");
    }
    return board_pins[number];
}

/* ---- pins ---- */

void pinMode(uint8_t pin, uint8_t mode)
{
    uint8_t id = tpc_board_pin(pin);
    tpc_spend(TP_COST_PIN_MODE);
    tpc_mode(id, mode);
}

int digitalRead(uint8_t pin)
{
    uint8_t id = tpc_board_pin(pin);
    tpc_spend(TP_COST_DIGITAL_READ);
    tp_stop_wave(id);
    return tpc_level(id);
}

void digitalWrite(uint8_t pin, uint8_t level)
{
    uint8_t id = tpc_board_pin(pin);
    tpc_spend(TP_COST_DIGITAL_WRITE);
    tp_stop_wave(id);
    tpc_drive(id, level != LOW);
}

int analogRead(uint8_t pin)
{
    uint8_t input = pin >= TP_FIRST_ANALOG ? pin - TP_FIRST_ANALOG : pin;
    if (input >= sizeof channels) {
        tp_give_up("analogRead names an analog input that the board does not have");
    }
    return tp_read_adc(channels[input]);
}

void analogReference(uint8_t mode)
{
    uint32_t microvolts = 0;
#if defined(TP_CHIP_ATMEGA2560)
    microvolts = mode == INTERNAL1V1 ? 1100000 : mode == INTERNAL2V56 ? 2560000 : 0;
#elif defined(TP_CHIP_ATMEGA328P)
    microvolts = mode == INTERNAL ? 1100000 : 0;
#else
    microvolts = mode == INTERNAL ? 2560000 : 0;
#endif
    tpc_spend(TP_COST_YIELD);
    tpc_reference(microvolts);
}

/* About 490 Hz, phase-correct: 510 ticks of 64 cycles; on pins of timer 0 fast: 256 ticks, and one
 * tick more high. On a pin without PWM half or more is high. */
void analogWrite(uint8_t pin, int duty)
{
    uint8_t id = tpc_board_pin(pin);
    uint64_t high = (uint8_t)duty;
    tpc_spend(TP_COST_ANALOG_WRITE);
    tpc_mode(id, OUTPUT);
    if (duty == 0 || duty == 255 || !is_in(pin, pwm_pins, sizeof pwm_pins)) {
        tp_stop_wave(id);
        tpc_drive(id, duty >= 128);
    } else if (is_in(pin, fast_pwm_pins, sizeof fast_pwm_pins)) {
        if (!tp_start_pwm(id, (high + 1) * 64, 256 * 64, false)) {
            tp_stop_wave(id);
            tpc_drive(id, true);
        }
    } else if (!tp_start_pwm(id, high * 128, 510 * 64, true)) {
        tp_stop_wave(id);
        tpc_drive(id, high != 0);
    }
}

/* ---- time ---- */

uint32_t millis(void)
{
    tpc_spend(TP_COST_MILLIS);
    return tpc_millis();
}

uint32_t micros(void)
{
    tpc_spend(TP_COST_MICROS);
    return tpc_micros();
}

/* Counts from the last tick of micros() before the call. */
void delay(uint32_t ms)
{
    uint64_t tick_ns = tpc_ns_of_cycles(64);
    if (!tpc.interrupts_on && ms >= 3) {
        tpc_fail(TPC_STUCK, "delay() with interrupts off: on the chip it never returns");
    }
    if (ms > 0) {
        tpc_wait_until(tpc.now_ns - tpc.now_ns % tick_ns + (uint64_t)ms * 1000000u);
    }
    tpc_spend(TP_COST_DELAY_POLL);
}

/* The argument has 16 bits on the chip, and the loop count, 4 a microsecond at 16 MHz, has them
 * too: above 16383 the wait comes out short there, so it does here. */
void delayMicroseconds(unsigned int us)
{
    uint32_t loops_per_us = F_CPU / 4000000UL;
    uint32_t loops = loops_per_us ? (uint16_t)((uint16_t)us * loops_per_us) : (uint16_t)us / 4;
    if (loops <= 4) {
        tpc_spend(TP_COST_DELAY_US_CALL);
    } else {
        tpc_spend(loops * 4);
    }
}

void yield(void)
{
    tpc_spend(TP_COST_YIELD);
}

/* ---- interrupts ---- */

void attachInterrupt(uint8_t number, void (*handler)(void), int mode)
{
    if (number < sizeof interrupt_pins) {
        tp_attach_interrupt(board_pins[interrupt_pins[number]], handler, mode);
    }
}

void detachInterrupt(uint8_t number)
{
    if (number < sizeof interrupt_pins) {
        tp_detach_interrupt(board_pins[interrupt_pins[number]]);
    }
}

/* ---- bits in and out ---- */

void shiftOut(uint8_t data_pin, uint8_t clock_pin, uint8_t order, uint8_t value)
{
    int i;
    for (i = 0; i < 8; i++) {
        digitalWrite(data_pin, (value >> (order == LSBFIRST ? i : 7 - i)) & 1);
        digitalWrite(clock_pin, HIGH);
        digitalWrite(clock_pin, LOW);
    }
}

uint8_t shiftIn(uint8_t data_pin, uint8_t clock_pin, uint8_t order)
{
    uint8_t value = 0;
    int i;
    for (i = 0; i < 8; i++) {
        digitalWrite(clock_pin, HIGH);
        value |= (uint8_t)(digitalRead(data_pin) << (order == LSBFIRST ? i : 7 - i));
        digitalWrite(clock_pin, LOW);
    }
    return value;
}
