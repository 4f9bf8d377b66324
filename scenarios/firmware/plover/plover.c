/* Plover: the same duties as godwit in plain C99, on the small interface trimproof_pins.h.
 *
 * Simpler: one axis is one struct, the drive accelerates by a fixed amount each millisecond and
 * brakes when the way left is the way that braking takes. The wiring is godwit's (godwit/pins.h),
 * and so is the layout of the settings in the EEPROM; without valid settings the stick stays limp.
 */
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>

#include "trimproof_pins.h"

enum { PRESS_MS = 6, OPEN_MS = 30, TAP_MS = 350, STEADY_MS = 200, OFF_MS = 120, STUCK_MS = 15000 };
enum { GOOD_MS = 100, JUMP = 40, HAND_MS = 300, ALIGN_MS = 20 };

enum { ZERO, SCALE, LOW, HIGH, CYCLE, PHASE, SOFT_MIN, SOFT_MAX, GLIDE, NUDGE, ACCEL, TAP, HAND };

typedef struct {
    uint8_t pin;
    bool closed, armed;
    uint16_t differs, closed_ms;
} contact;

typedef struct {
    uint8_t adc, step, dir, enable, reset, current;
    int32_t set[13];           /* the settings, in the order of the enum above */
    int32_t raw, filtered;     /* ADC counts; the same times 16 */
    bool seen, jumped;
    uint16_t good_ms;
    int32_t position, goal;    /* microsteps from centre */
    int32_t rate, top;         /* microsteps a second, signed; its largest */
    uint32_t last_us;          /* when the last step was due */
    int direction;             /* of the hat: -1, 0, 1 */
    uint16_t hat_ms;
    contact minus, plus;
} axis;

static axis axes[2] = {
    {.adc = 0, .step = TP_PIN('E', 4), .dir = TP_PIN('E', 5), .enable = TP_PIN('E', 3),
     .reset = TP_PIN('H', 3), .current = TP_PIN('H', 4), .minus = {.pin = TP_PIN('A', 2)},
     .plus = {.pin = TP_PIN('A', 3)}},
    {.adc = 1, .step = TP_PIN('H', 5), .dir = TP_PIN('H', 6), .enable = TP_PIN('B', 4),
     .reset = TP_PIN('B', 5), .current = TP_PIN('B', 6), .minus = {.pin = TP_PIN('A', 4)},
     .plus = {.pin = TP_PIN('A', 5)}},
};
#define EACH(a) for (axis *a = axes; a < axes + 2; a++)

static contact release = {.pin = TP_PIN('A', 0)}, force_trim = {.pin = TP_PIN('A', 1)};
static bool valid, on, homed, gliding, glide_owed = true;
static int32_t supply_on, supply_off;
static uint16_t supply_ms, low, off_ms, hand_ms, align_ms;
static uint32_t tick_us;

static int32_t least(int32_t a, int32_t b) { return a < b ? a : b; }
static int32_t most(int32_t a, int32_t b) { return a > b ? a : b; }
static uint16_t word(uint32_t at) { return tp_eeprom_read(at) | tp_eeprom_read(at + 1) << 8; }

static bool load(void)
{
    uint16_t a = 0x5A, b = 0xA5;
    for (uint32_t i = 0; i < 58; i++) {
        a = (a + tp_eeprom_read(i)) % 255;
        b = (b + a) % 255;
    }
    supply_on = word(2);
    supply_off = word(4);
    for (int i = 0; i < 13; i++) {
        bool is_signed = i == SCALE || (i >= PHASE && i <= SOFT_MAX);
        for (int k = 0; k < 2; k++) {
            uint16_t value = word(6 + 26 * k + 2 * i);
            axes[k].set[i] = is_signed ? (int16_t)value : value;
        }
    }
    return word(0) == 0x4757 && word(58) == (b << 8 | a);
}

static void step(axis *a, int sense)
{
    tp_write_pin(a->dir, sense > 0);
    tp_wait_us(2);
    tp_write_pin(a->step, true);
    tp_wait_us(3);
    tp_write_pin(a->step, false);
    a->position += sense;
}

static int32_t stick(const axis *a) { return (a->filtered - a->set[ZERO]) * a->set[SCALE] / 4096; }

/* Microsteps from the driver's phase to the stick: whole cycles look alike to the rotor. */
static int32_t apart(const axis *a)
{
    int32_t half = a->set[CYCLE] / 2;
    return ((stick(a) - a->position + half) & (a->set[CYCLE] - 1)) - half;
}

static void aim(axis *a, int32_t goal, int32_t top)
{
    a->goal = most(a->set[SOFT_MIN], least(a->set[SOFT_MAX], goal));
    a->top = top;
}

static int32_t braking(const axis *a) { return a->rate * a->rate / (2 * a->set[ACCEL]) + 1; }

static void stop(axis *a)
{
    int32_t way = a->rate == 0 ? 0 : braking(a);
    aim(a, a->position + (a->rate < 0 ? -way : way), a->set[NUDGE]);
}

static void drives_off(void)
{
    off_ms = on ? 0 : off_ms;
    on = gliding = false;
    EACH(a) {
        tp_write_pin(a->enable, true);
        a->rate = 0;
    }
}

static void drives_on(void)
{
    bool fits = true;
    EACH(a) fits = fits && abs(apart(a)) <= most(1, a->set[CYCLE] / 32);
    if (off_ms < OFF_MS || (!fits && align_ms++ < ALIGN_MS)) return;
    EACH(a) {
        a->position = stick(a) - apart(a);
        aim(a, glide_owed ? 0 : a->position, a->set[GLIDE]);
        tp_write_pin(a->current, true);
        tp_write_pin(a->enable, false);
    }
    on = true;
    gliding = glide_owed;
    glide_owed = false;
    hand_ms = HAND_MS;
    align_ms = 0;
}

static void debounce(contact *c)
{
    bool raw = !tp_read_pin(c->pin);
    c->differs = raw == c->closed ? 0 : c->differs + 1;
    if (c->differs >= (raw ? PRESS_MS : OPEN_MS)) {
        c->closed = raw;
        c->differs = 0;
    }
    c->closed_ms = c->closed ? c->closed_ms + (c->closed_ms < STUCK_MS) : 0;
    c->armed = c->closed ? c->armed && on : true;
}

static bool asks(const contact *c) { return c->closed && c->armed && c->closed_ms < STUCK_MS; }

static void nudge(axis *a)
{
    int now = asks(&a->plus) - asks(&a->minus);
    bool ran = a->hat_ms >= TAP_MS;
    a->hat_ms = now != 0 && now == a->direction ? a->hat_ms + (a->hat_ms < TAP_MS) : 0;
    if (now != 0 && now != a->direction && on) aim(a, a->goal + now * a->set[TAP], a->set[NUDGE]);
    if (ran && a->hat_ms < TAP_MS && on) stop(a);
    if (a->hat_ms >= TAP_MS && on) aim(a, a->set[now > 0 ? SOFT_MAX : SOFT_MIN], a->set[NUDGE]);
    a->direction = now;
}

static void plan(axis *a, bool wait)
{
    int32_t left = a->goal - a->position, speed = abs(a->rate), top = wait ? 0 : a->top;
    int32_t change = most(1, a->set[ACCEL] / 1000), creep = a->set[NUDGE] / 8, wanted;
    bool towards = (left > 0 && a->rate > 0) || (left < 0 && a->rate < 0);
    bool forward = speed == 0 ? left > 0 : a->rate > 0;
    if (left == 0 && speed <= 2 * creep) wanted = 0;
    else if (speed > 0 && (!towards || abs(left) <= braking(a)))
        wanted = most(towards ? creep : 0, speed - 2 * change);
    else if (speed > top) wanted = most(top, speed - 2 * change);
    else wanted = least(top, most(creep, speed + change));
    if (speed == 0) a->last_us = tp_now_us();
    a->rate = forward ? wanted : -wanted;
    tp_write_pin(a->current, left != 0 || wanted != 0);
}

static void tick(void)
{
    bool good = valid && supply_ms >= STEADY_MS, wait = false;
    off_ms += off_ms < OFF_MS;
    supply_ms += supply_ms < STEADY_MS;
    debounce(&release);
    debounce(&force_trim);
    EACH(a) {
        a->good_ms += a->seen && a->good_ms < GOOD_MS;
        a->jumped = a->jumped && force_trim.closed; /* force trim off and on: try again */
        good = good && a->good_ms >= GOOD_MS && !a->jumped;
        debounce(&a->minus);
        debounce(&a->plus);
    }
    glide_owed = glide_owed && force_trim.closed && !release.closed;
    if (!good || !force_trim.closed || release.closed) drives_off();
    if (good && !homed) {
        EACH(a) {
            tp_write_pin(a->reset, false);
            tp_wait_us(10);
            tp_write_pin(a->reset, true);
            a->position = -a->set[PHASE];
        }
        homed = true;
    } else if (good && force_trim.closed && !release.closed && !on) {
        drives_on();
    }
    bool hand = false, busy = false, pressed = false;
    EACH(a) {
        nudge(a);
        hand = hand || abs(stick(a) - a->position) > a->set[HAND];
        busy = busy || a->goal != a->position;
        pressed = pressed || a->direction != 0;
    }
    hand_ms = hand ? HAND_MS : hand_ms - (hand_ms > 0);
    if (gliding && pressed) EACH(a) stop(a);
    gliding = gliding && busy && !pressed;
    wait = gliding && hand_ms > 0; /* a hand that holds the stick back stops the glide */
    if (on) EACH(a) plan(a, wait);
}

/* One conversion a turn: pitch, roll, supply. */
static void convert(void)
{
    static int channel;
    int32_t adc = tp_read_adc(channel);
    if (channel == 2) {
        low = adc < supply_off ? low + 1 : 0;
        if (adc < supply_on && !on) supply_ms = 0;
        if (low >= 2) { /* below their own limit the drivers forget their phase */
            supply_ms = low = 0;
            homed = false;
            glide_owed = true;
            drives_off();
        }
    } else {
        axis *a = &axes[channel];
        bool inside = adc >= a->set[LOW] && adc <= a->set[HIGH];
        if (!inside) a->good_ms = 0;
        if (inside && a->seen && abs(adc - a->raw) > JUMP) a->jumped = true;
        int32_t change = adc * 16 + 8 - a->filtered;
        if (inside) a->filtered += a->good_ms == 0 ? change : change / 4;
        a->raw = adc;
        a->seen = inside;
    }
    channel = (channel + 1) % 3;
}

static void service(axis *a)
{
    uint32_t now = tp_now_us();
    if (on && a->rate != 0 && now - a->last_us >= 1000000u / (uint32_t)abs(a->rate)) {
        a->last_us += 1000000u / (uint32_t)abs(a->rate);
        if (now - a->last_us > 2000) a->last_us = now; /* late: no burst */
        step(a, a->rate > 0 ? 1 : -1);
    } else if (!on && homed && a->good_ms >= GOOD_MS && apart(a) != 0) {
        step(a, apart(a) > 0 ? 1 : -1); /* the driver counts while it is off */
    }
}

void setup(void)
{
    contact *contacts[] = {&release, &force_trim, &axes[0].minus, &axes[0].plus, &axes[1].minus,
                           &axes[1].plus};
    EACH(a) {
        tp_write_pin(a->enable, true);
        tp_write_pin(a->reset, true);
        uint8_t outputs[] = {a->enable, a->reset, a->step, a->dir, a->current};
        for (int i = 0; i < 5; i++) tp_pin_mode(outputs[i], TP_OUTPUT);
    }
    for (int i = 0; i < 6; i++) {
        tp_pin_mode(contacts[i]->pin, TP_INPUT_PULLUP);
        contacts[i]->closed = !tp_read_pin(contacts[i]->pin);
    }
    valid = load();
    tick_us = tp_now_us();
}

void loop(void)
{
    convert();
    EACH(a) service(a);
    if (tp_now_us() - tick_us >= 1000) {
        tick_us += 1000;
        tick();
    }
}
