// clock_off.ino: with interrupts off the clock keeps one overflow of its timer and loses the rest.
#include <util/atomic.h>

volatile uint32_t lost_us, frozen_ms, after_ms;

void setup()
{
    uint32_t t0 = micros();
    noInterrupts();
    uint32_t m0 = millis();
    delayMicroseconds(10000);
    frozen_ms = millis() - m0;
    interrupts();
    lost_us = micros() - t0;
    uint8_t flags = SREG;
    cli();
    SREG = flags;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { after_ms = 1; }
    after_ms += tp_interrupts_are_on();
}

void loop() { delay(1); }
