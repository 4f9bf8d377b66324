/* avr/interrupt.h: the interrupt flag. Handlers of the chip's own sources: in the image only. */
#ifndef TRIMPROOF_AVR_INTERRUPT_H
#define TRIMPROOF_AVR_INTERRUPT_H

#include "trimproof_pins.h"

#define sei() tp_interrupts(true)
#define cli() tp_interrupts(false)

#define TP_NO_ISR \
    _Pragma("GCC error \"a host build has no vectors; it needs a run of the image at its pins, which is not there yet\"")
#define ISR(vector, ...) TP_NO_ISR void vector(void)
#define SIGNAL(vector) TP_NO_ISR void vector(void)
#define EMPTY_INTERRUPT(vector) TP_NO_ISR void vector(void)

#endif
