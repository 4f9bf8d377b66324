/* core.c: virtual time, what is due when, the clock of micros()/millis(), and main().
 *
 * Time moves only inside a call. When it reaches the end of the step, the call in progress answers
 * DONE, waits for the next RUN and goes on: that is why there is neither thread nor coroutine.
 */
#include "core.h"

struct tpc_state tpc;

/* The timer behind micros() counts 64 cycles a tick and overflows every 256 ticks. With interrupts
 * off one overflow is kept, more are lost: the clock then runs slow, as on the chip. */
static uint64_t ticks_at_start, ticks_lost, overflows_when_off;

uint64_t tpc_ns_of_cycles(uint64_t cycles)
{
    uint64_t seconds = cycles / tpc.clock_hz;
    uint64_t rest = cycles % tpc.clock_hz;
    return seconds * 1000000000u + rest * 1000000000u / tpc.clock_hz;
}

static uint64_t ticks_of_hardware(void)
{
    uint64_t seconds = tpc.now_ns / 1000000000u;
    uint64_t rest_ns = tpc.now_ns % 1000000000u;
    return ticks_at_start
        + (seconds * tpc.clock_hz + rest_ns * tpc.clock_hz / 1000000000u) / 64u;
}

uint64_t tpc_ticks(void)
{
    uint64_t ticks = ticks_of_hardware();
    uint64_t lost = ticks_lost;
    if (!tpc.interrupts_on) {
        uint64_t overflows = ticks / 256u - overflows_when_off;
        if (overflows > 1) {
            lost += (overflows - 1) * 256u;
        }
    }
    return ticks - lost;
}

uint32_t tpc_micros(void)
{
    uint64_t ticks = tpc_ticks();
    uint64_t seconds_64 = ticks / tpc.clock_hz; /* 64 s each: keeps the product in 64 bits */
    uint64_t rest = ticks % tpc.clock_hz;
    return (uint32_t)(seconds_64 * 64000000u + rest * 64000000u / tpc.clock_hz);
}

uint32_t tpc_millis(void)
{
    uint64_t overflows = tpc_ticks() / 256u;
    uint64_t whole, rest;
    if (!tpc.interrupts_on && ticks_of_hardware() / 256u != overflows_when_off) {
        overflows--; /* kept, but its handler has not run yet */
    }
    whole = overflows / tpc.clock_hz;
    rest = overflows % tpc.clock_hz;
    return (uint32_t)(whole * 16384000u + rest * 16384000u / tpc.clock_hz);
}

void tpc_interrupts_off(void)
{
    if (tpc.interrupts_on) {
        tpc.interrupts_on = false;
        overflows_when_off = ticks_of_hardware() / 256u;
    }
}

void tpc_interrupts_on(void)
{
    if (!tpc.interrupts_on) {
        uint64_t overflows = ticks_of_hardware() / 256u - overflows_when_off;
        if (overflows > 1) {
            ticks_lost += (overflows - 1) * 256u;
        }
        tpc.interrupts_on = true;
    }
}

/* Offset in microseconds to ticks, in two parts so that no product overflows. */
static uint64_t ticks_of_us(uint64_t us)
{
    return us / 64000000u * tpc.clock_hz + us % 64000000u * tpc.clock_hz / 64000000u;
}

void tpc_begin(void)
{
    ticks_at_start = ticks_of_us(tpc.offset_us);
    ticks_lost = 0;
    tpc.now_ns = 0;
    tpc.until_ns = 0;
    tpc.frac = 0;
    tpc.interrupts_on = true;
    tpc_look_again();
}

static uint64_t earlier(uint64_t a, uint64_t b)
{
    return a < b ? a : b;
}

void tpc_look_again(void)
{
    uint64_t next_ns = earlier(tpc_change_due(), tpc_serial_due());
    next_ns = earlier(next_ns, earlier(tpc_wave_due(), tpc_watchdog_due()));
    tpc.next_ns = earlier(next_ns, tpc.until_ns);
    tpc.quick_ns = tpc.low_level ? 0 : tpc.next_ns;
}

/* The watchdog bites: the step ends here, the next request is answered with FAIL. */
static void watchdog_reset(void)
{
    tpc_event(TPC_EV_RESET, 0, 1);
    tpc_pipe_done();
    tpc_pipe_run();
    tpc_fail(TPC_OTHER, "watchdog reset");
}

/* One thing that is due now. At one instant inputs come first and the end of the step last. */
static void do_due(void)
{
    uint64_t now_ns = tpc.now_ns;
    if (tpc_change_due() <= now_ns) {
        tpc_change_apply();
    } else if (tpc_serial_due() <= now_ns) {
        tpc_serial_leave();
    } else if (tpc_wave_due() <= now_ns) {
        tpc_wave_edge();
    } else if (tpc_watchdog_due() <= now_ns) {
        watchdog_reset();
    } else if (tpc.until_ns <= now_ns) {
        tpc_pipe_done();
        tpc_pipe_run();
    }
    tpc_look_again();
}

void tpc_advance(uint64_t target_ns, bool busy)
{
    uint64_t before_ns;
    while (tpc.next_ns <= target_ns || tpc.next_ns <= tpc.now_ns) {
        if (tpc.now_ns < tpc.next_ns) {
            tpc.now_ns = tpc.next_ns;
        }
        do_due();
        before_ns = tpc.now_ns;
        tpc_run_handlers(false);
        if (busy) {
            target_ns += tpc.now_ns - before_ns;
        }
    }
    if (tpc.now_ns < target_ns) {
        tpc.now_ns = target_ns;
    }
    if (tpc.low_level) {
        tpc_run_handlers(true);
    }
}

uint64_t tp_now_ns(void)
{
    tpc_spend(TP_COST_RAW_NOW);
    return tpc.now_ns + tpc.offset_us * 1000u;
}

uint32_t tp_now_us(void)
{
    tpc_spend(TP_COST_RAW_NOW);
    return (uint32_t)(tpc.offset_us + tpc.now_ns / 1000u);
}

void tp_wait_ns(uint64_t ns)
{
    tpc_wait_until(ns > TPC_NEVER - 1 - tpc.now_ns ? TPC_NEVER - 1 : tpc.now_ns + ns);
}

void tp_wait_us(uint32_t us)
{
    tp_wait_ns((uint64_t)us * 1000u);
}

void tp_spend_cycles(uint32_t cycles)
{
    tpc_spend(cycles);
}

void tp_interrupts(bool on)
{
    tpc_spend(TP_COST_INTERRUPT_FLAG);
    if (on) {
        tpc_interrupts_on();
        tpc_run_handlers(true);
    } else {
        tpc_interrupts_off();
    }
}

bool tp_interrupts_are_on(void)
{
    tpc_spend(TP_COST_INTERRUPT_FLAG);
    return tpc.interrupts_on;
}

void tp_give_up(const char *text)
{
    tpc_fail(TPC_OTHER, text);
}

/* Before the constructors of the program's objects, which may already print or call. */
__attribute__((constructor(101))) static void start(void)
{
    tpc_pipe_open();
    tpc_guard_start();
    tpc_pipe_begin();
    tpc_pipe_run();
    tpc_look_again();
    tpc_spend(TP_COST_START);
}

int main(void)
{
    setup();
    for (;;) {
        tpc_event(TPC_EV_LOOP, 0, 0);
        loop();
        tpc_spend(TP_COST_LOOP_TURN);
    }
}
