/* util/delay.h: busy waits: the time of a handler in between comes on top. */
#ifndef TRIMPROOF_UTIL_DELAY_H
#define TRIMPROOF_UTIL_DELAY_H

#include "trimproof_pins.h"

static inline void _delay_us(double us)
{
    double cycles = us * (double)F_CPU / 1e6;
    while (cycles > 1e9) {
        tp_spend_cycles(1000000000u);
        cycles -= 1e9;
    }
    tp_spend_cycles(cycles > 0 ? (uint32_t)cycles : 0);
}

static inline void _delay_ms(double ms)
{
    _delay_us(ms * 1000.0);
}

#endif
