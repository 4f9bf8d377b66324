/* waves.c: what the chip's timers do to pins: square waves and PWM. */
#include "core.h"

enum { WAVES = 16 };
enum phase { PLAIN, BEFORE_PERIOD, BEFORE_RISE, BEFORE_FALL };

static struct wave {
    bool on;
    bool high;
    bool centred;
    bool latch_before;         /* PWM overrides the port's bit, which comes back with its end */
    enum phase phase;          /* PLAIN: a square wave; else where a PWM stands */
    uint8_t pin;
    uint64_t high_cycles, low_cycles;
    uint64_t next_high_cycles; /* PWM: from the next period on */
    uint64_t start_ns, cycles; /* the next edge lies that many cycles after the start */
    uint64_t edges_left;       /* TPC_NEVER: until stopped */
    uint64_t next_ns;
} waves[WAVES];
static uint8_t place[TPC_PINS]; /* 1 + the place of a pin's wave, 0 none */
static uint64_t wave_ns = TPC_NEVER;

static void find_due(void)
{
    unsigned i;
    wave_ns = TPC_NEVER;
    for (i = 0; i < WAVES; i++) {
        if (waves[i].on && waves[i].next_ns < wave_ns) {
            wave_ns = waves[i].next_ns;
        }
    }
    tpc_look_again();
}

uint64_t tpc_wave_due(void)
{
    return wave_ns;
}

bool tpc_wave_on(uint8_t pin)
{
    return pin < TPC_PINS && place[pin] != 0;
}

static struct wave *free_wave(uint8_t pin)
{
    unsigned i;
    for (i = 0; i < WAVES && waves[i].on; i++) {
    }
    if (i == WAVES) {
        return NULL;
    }
    place[pin] = (uint8_t)(i + 1);
    waves[i].on = true;
    waves[i].pin = pin;
    waves[i].high = waves[i].latch_before = tpc_latched(pin);
    waves[i].edges_left = TPC_NEVER;
    return &waves[i];
}

static void due_after(struct wave *w, uint64_t cycles)
{
    w->cycles += cycles;
    w->next_ns = w->start_ns + tpc_ns_of_cycles(w->cycles);
}

bool tp_start_wave(uint8_t pin, uint64_t high_cycles, uint64_t low_cycles, uint64_t edges)
{
    struct wave *w;
    tp_stop_wave(pin);
    w = high_cycles && low_cycles ? free_wave(pin) : NULL;
    if (!w) {
        return false;
    }
    w->phase = PLAIN;
    w->high_cycles = high_cycles;
    w->low_cycles = low_cycles;
    w->edges_left = edges ? edges : TPC_NEVER;
    w->start_ns = tpc.now_ns;
    w->cycles = 0;
    due_after(w, w->high ? high_cycles : low_cycles);
    find_due();
    return true;
}

/* The timer runs on from the start of the run, so the first period to come is a multiple. */
bool tp_start_pwm(uint8_t pin, uint64_t high_cycles, uint64_t period_cycles, bool centred)
{
    struct wave *w;
    uint64_t now_cycles;
    tpc_check_pin(pin);
    if (high_cycles == 0 || high_cycles >= period_cycles) {
        return false;
    }
    w = place[pin] ? &waves[place[pin] - 1] : NULL;
    if (w && w->phase != PLAIN && w->high_cycles + w->low_cycles == period_cycles
        && w->centred == centred) {
        w->next_high_cycles = high_cycles;
        return true;
    }
    tp_stop_wave(pin);
    w = free_wave(pin);
    if (!w) {
        return false;
    }
    w->phase = BEFORE_PERIOD;
    w->centred = centred;
    w->high_cycles = w->next_high_cycles = high_cycles;
    w->low_cycles = period_cycles - high_cycles;
    now_cycles = tpc.now_ns / 1000000000u * tpc.clock_hz
        + tpc.now_ns % 1000000000u * tpc.clock_hz / 1000000000u;
    w->start_ns = 0;
    w->cycles = 0;
    due_after(w, (now_cycles / period_cycles + 1) * period_cycles);
    find_due();
    return true;
}

void tp_stop_wave(uint8_t pin)
{
    struct wave *w;
    tpc_check_pin(pin);
    if (place[pin]) {
        w = &waves[place[pin] - 1];
        w->on = false;
        place[pin] = 0;
        if (w->phase != PLAIN) {
            tpc_latch(pin, w->latch_before);
        }
        find_due();
    }
}

static void set(struct wave *w, bool high)
{
    w->high = high;
    tpc_latch(w->pin, high);
}

static uint64_t lead_cycles(const struct wave *w)
{
    return w->centred ? w->low_cycles / 2 : 0;
}

static void pwm_edge(struct wave *w)
{
    uint64_t period_cycles = w->high_cycles + w->low_cycles;
    switch (w->phase) {
    case BEFORE_PERIOD:
        w->high_cycles = w->next_high_cycles;
        w->low_cycles = period_cycles - w->high_cycles;
        w->phase = BEFORE_RISE;
        if (w->high && lead_cycles(w)) {
            set(w, false); /* the port's bit was high before the first period */
        }
        due_after(w, lead_cycles(w));
        break;
    case BEFORE_RISE:
        w->phase = BEFORE_FALL;
        set(w, true);
        due_after(w, w->high_cycles);
        break;
    default:
        w->phase = BEFORE_PERIOD;
        set(w, false);
        due_after(w, w->low_cycles - lead_cycles(w));
        break;
    }
}

static void plain_edge(struct wave *w)
{
    set(w, !w->high);
    due_after(w, w->high ? w->high_cycles : w->low_cycles);
    if (w->edges_left != TPC_NEVER && --w->edges_left == 0) {
        w->on = false;
        place[w->pin] = 0;
    }
}

void tpc_wave_edge(void)
{
    unsigned i;
    for (i = 0; i < WAVES; i++) {
        if (waves[i].on && waves[i].next_ns <= tpc.now_ns) {
            if (waves[i].phase == PLAIN) {
                plain_edge(&waves[i]);
            } else {
                pwm_edge(&waves[i]);
            }
        }
    }
    find_due();
}
