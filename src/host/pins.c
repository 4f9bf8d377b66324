/* pins.c: pins, ADC and pin interrupts. */
#include "core.h"

enum { FLOATING = 2, UNREPORTED = 2, VECTORS = 8 };

static struct pin {
    bool output;     /* the bit of the direction register */
    bool latch;      /* the bit of the port register: level of an output, pull-up of an input */
    bool driven;     /* something outside drives the pin ... */
    bool outside;    /* ... to this level */
    uint8_t reported;/* as events of kind 0 count; kept as value ^ UNREPORTED so that 0 is right */
} pins[TPC_PINS];

static uint32_t analog_uv[TPC_CHANNELS];
static uint32_t other_reference_uv;
static bool adc_used;

static struct vector {
    void (*handler)(void);
    uint8_t pin;
    uint8_t mode;
    bool level;
    bool pending;
} vectors[VECTORS];
static bool any_pending;

/* ---- levels ---- */

bool tpc_level(uint8_t pin)
{
    const struct pin *p = &pins[pin];
    return !p->output && p->driven ? p->outside : p->latch;
}

static void see_low_levels(void)
{
    bool low = false;
    unsigned i;
    for (i = 0; i < VECTORS; i++) {
        low = low || (vectors[i].handler && vectors[i].mode == TP_LOW && !vectors[i].level);
    }
    if (low != tpc.low_level) {
        tpc.low_level = low;
        tpc_look_again();
    }
}

/* What the chip does to the pin, or what drives it, may have changed. */
static void see(uint8_t pin)
{
    struct pin *p = &pins[pin];
    uint8_t does = (uint8_t)((p->output ? 0 : 2) + p->latch);
    bool level = tpc_level(pin);
    unsigned i;
    if (does != (p->reported ^ UNREPORTED)) {
        p->reported = does ^ UNREPORTED;
        tpc_event(TPC_EV_PIN, pin, does);
    }
    for (i = 0; i < VECTORS; i++) {
        struct vector *v = &vectors[i];
        if (v->handler && v->pin == pin && v->level != level) {
            v->level = level;
            if (v->mode == TP_CHANGE || (v->mode == TP_RISING && level)
                || (v->mode == TP_FALLING && !level)) {
                v->pending = any_pending = true;
            }
            see_low_levels();
        }
    }
}

void tpc_outside(uint8_t pin, uint8_t level)
{
    pins[pin].driven = level != FLOATING;
    pins[pin].outside = level == 1;
    see(pin);
}

void tpc_check_pin(uint8_t pin)
{
    if (pin >= TPC_PINS) {
        tpc_fail(TPC_OTHER, "a call names a pin that no chip has");
    }
}

void tpc_mode(uint8_t pin, int mode)
{
    tpc_check_pin(pin);
    if (mode != TP_OUTPUT) {
        tp_stop_wave(pin);
    }
    pins[pin].output = mode == TP_OUTPUT;
    if (mode != TP_OUTPUT) {
        pins[pin].latch = mode == TP_INPUT_PULLUP;
    }
    see(pin);
    tpc_run_handlers(false);
}

void tpc_drive(uint8_t pin, bool high)
{
    tpc_check_pin(pin);
    pins[pin].latch = high;
    see(pin);
    tpc_run_handlers(false);
}

void tpc_latch(uint8_t pin, bool high)
{
    pins[pin].latch = high;
    see(pin);
}

bool tpc_latched(uint8_t pin)
{
    return pins[pin].latch;
}

void tp_pin_mode(uint8_t pin, int mode)
{
    tpc_spend(TP_COST_RAW_PIN);
    tpc_mode(pin, mode);
}

bool tp_read_pin(uint8_t pin)
{
    tpc_check_pin(pin);
    tpc_spend(TP_COST_RAW_PIN);
    return tpc_level(pin);
}

void tp_write_pin(uint8_t pin, bool high)
{
    tpc_spend(TP_COST_RAW_PIN);
    tpc_drive(pin, high);
}

/* ---- ADC ---- */

void tpc_analog(uint8_t channel, uint32_t microvolts)
{
    analog_uv[channel] = microvolts;
}

void tpc_reference(uint32_t microvolts)
{
    other_reference_uv = microvolts;
}

static uint32_t adc_prescaler(void)
{
    uint32_t prescaler = 128;
    while (prescaler > 2 && tpc.clock_hz / prescaler < 125000) {
        prescaler /= 2;
    }
    return prescaler;
}

uint16_t tp_read_adc(uint8_t channel)
{
    uint32_t half_clock = adc_prescaler() / 2;
    uint32_t first = adc_used ? 0 : TP_ADC_FIRST_EXTRA_TIMES_2;
    uint64_t reference_uv = other_reference_uv ? other_reference_uv : tpc.reference_uv;
    uint64_t start_ns, code;
    if (channel >= TPC_CHANNELS) {
        tpc_fail(TPC_OTHER, "a call names an ADC channel that no chip has");
    }
    tpc_spend(TP_COST_ADC_CALL);
    adc_used = true;
    /* The converter is hardware of its own: a handler in between does not lengthen it. */
    start_ns = tpc.now_ns;
    tpc_wait_until(start_ns + tpc_ns_of_cycles((first + TP_ADC_SAMPLE_TIMES_2) * half_clock));
    code = (uint64_t)analog_uv[channel] * 1024u / reference_uv;
    tpc_wait_until(start_ns + tpc_ns_of_cycles((first + TP_ADC_CLOCKS_TIMES_2) * half_clock));
    return (uint16_t)(code > 1023 ? 1023 : code);
}

/* ---- pin interrupts ---- */

/* The external interrupt of a pin (chip data sheets, "External Interrupts"; from memory). */
static int vector_of(uint8_t pin)
{
    uint8_t port = pin / 8, bit = pin % 8;
    if (tpc.chip == TPC_ATMEGA328P) {
        return port == 3 && (bit == 2 || bit == 3) ? bit - 2 : -1;
    }
    if (port == 3 && bit <= 3) {
        return bit;
    }
    if (port == 4 && (tpc.chip == TPC_ATMEGA2560 ? bit >= 4 : bit == 6)) {
        return bit;
    }
    return -1;
}

bool tp_attach_interrupt(uint8_t pin, void (*handler)(void), int mode)
{
    int number = vector_of(pin);
    tpc_spend(TP_COST_ATTACH);
    if (number < 0 || handler == NULL) {
        return false;
    }
    vectors[number].handler = handler;
    vectors[number].pin = pin;
    vectors[number].mode = (uint8_t)mode;
    vectors[number].level = tpc_level(pin);
    vectors[number].pending = false;
    see_low_levels();
    return true;
}

void tp_detach_interrupt(uint8_t pin)
{
    int number = vector_of(pin);
    tpc_spend(TP_COST_ATTACH);
    if (number >= 0) {
        vectors[number].handler = NULL;
        vectors[number].pending = false;
        see_low_levels();
    }
}

bool tpc_any_handler(void)
{
    unsigned i;
    for (i = 0; i < VECTORS; i++) {
        if (vectors[i].handler) {
            return true;
        }
    }
    return false;
}

static void run_handler(struct vector *v)
{
    void (*handler)(void) = v->handler;
    v->pending = false;
    tpc_interrupts_off();
    tpc_spend(TP_COST_HANDLER_ENTRY);
    handler();
    tpc_spend(TP_COST_HANDLER_EXIT);
    tpc_interrupts_on();
}

/* Lowest vector first, as the chip does. level_too: a call of the main program ends, so a level
 * interrupt whose level still stands runs once more. */
void tpc_run_handlers(bool level_too)
{
    unsigned i;
    while (any_pending && tpc.interrupts_on) {
        for (i = 0; i < VECTORS && !(vectors[i].handler && vectors[i].pending); i++) {
        }
        if (i == VECTORS) {
            any_pending = false;
        } else {
            run_handler(&vectors[i]);
        }
    }
    for (i = 0; level_too && tpc.low_level && tpc.interrupts_on && i < VECTORS; i++) {
        if (vectors[i].handler && vectors[i].mode == TP_LOW && !vectors[i].level) {
            run_handler(&vectors[i]);
            return;
        }
    }
}
