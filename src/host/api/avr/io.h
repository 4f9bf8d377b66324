/* avr/io.h: names of port bits, and the interrupt flag in SREG. Other registers exist in the image
 * only: see registers.h.
 */
#ifndef TRIMPROOF_AVR_IO_H
#define TRIMPROOF_AVR_IO_H

#include "avr/registers.h"
#include "board.h"
#include "trimproof_pins.h"

#define _BV(bit) (1 << (bit))
#define bit_is_set(value, bit) ((value) & _BV(bit))
#define bit_is_clear(value, bit) (!((value) & _BV(bit)))

enum {
    PA0 = 0, PA1 = 1, PA2 = 2, PA3 = 3, PA4 = 4, PA5 = 5, PA6 = 6, PA7 = 7,
    PB0 = 0, PB1 = 1, PB2 = 2, PB3 = 3, PB4 = 4, PB5 = 5, PB6 = 6, PB7 = 7,
    PC0 = 0, PC1 = 1, PC2 = 2, PC3 = 3, PC4 = 4, PC5 = 5, PC6 = 6, PC7 = 7,
    PD0 = 0, PD1 = 1, PD2 = 2, PD3 = 3, PD4 = 4, PD5 = 5, PD6 = 6, PD7 = 7,
    PE0 = 0, PE1 = 1, PE2 = 2, PE3 = 3, PE4 = 4, PE5 = 5, PE6 = 6, PE7 = 7,
    PF0 = 0, PF1 = 1, PF2 = 2, PF3 = 3, PF4 = 4, PF5 = 5, PF6 = 6, PF7 = 7,
    PG0 = 0, PG1 = 1, PG2 = 2, PG3 = 3, PG4 = 4, PG5 = 5, PG6 = 6, PG7 = 7,
    PH0 = 0, PH1 = 1, PH2 = 2, PH3 = 3, PH4 = 4, PH5 = 5, PH6 = 6, PH7 = 7,
    PJ0 = 0, PJ1 = 1, PJ2 = 2, PJ3 = 3, PJ4 = 4, PJ5 = 5, PJ6 = 6, PJ7 = 7,
    PK0 = 0, PK1 = 1, PK2 = 2, PK3 = 3, PK4 = 4, PK5 = 5, PK6 = 6, PK7 = 7,
    PL0 = 0, PL1 = 1, PL2 = 2, PL3 = 3, PL4 = 4, PL5 = 5, PL6 = 6, PL7 = 7,
};

#define SREG_I 7

/* SREG holds the interrupt flag alone: enough to keep it and put it back. */
#ifdef __cplusplus
struct TpStatusRegister {
    operator uint8_t() const { return tp_interrupts_are_on() ? 1 << SREG_I : 0; }
    TpStatusRegister &operator=(uint8_t value)
    {
        tp_interrupts((value >> SREG_I & 1) != 0);
        return *this;
    }
};
static TpStatusRegister SREG __attribute__((unused));
#else
#define SREG TP_NO_REGISTER
#endif

#endif
