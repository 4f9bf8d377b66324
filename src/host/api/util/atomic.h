/* util/atomic.h: blocks with the interrupts off. */
#ifndef TRIMPROOF_UTIL_ATOMIC_H
#define TRIMPROOF_UTIL_ATOMIC_H

#include "trimproof_pins.h"

/* How the flag stands afterwards, and whether the block is still to run. */
struct tp_atomic {
    bool on_after;
    bool again;
};

static inline struct tp_atomic tp_atomic_begin(bool restore, bool on_after)
{
    struct tp_atomic block = {restore ? tp_interrupts_are_on() : on_after, true};
    tp_interrupts(false);
    return block;
}

static inline void tp_atomic_end(struct tp_atomic *block)
{
    tp_interrupts(block->on_after);
}

#define ATOMIC_RESTORESTATE true, false
#define ATOMIC_FORCEON false, true
#define ATOMIC_BLOCK(how) TP_ATOMIC_BLOCK(how)
#define TP_ATOMIC_BLOCK(restore, on_after) \
    for (struct tp_atomic tp_block __attribute__((cleanup(tp_atomic_end))) \
         = tp_atomic_begin(restore, on_after); \
         tp_block.again; tp_block.again = false)

#endif
