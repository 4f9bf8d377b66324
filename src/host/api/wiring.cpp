// wiring.cpp: the C++ part of the common setup()/loop() API: pulses, tones, random numbers.
#include "Arduino.h"

#include "core.h"

// ---- memory ----

// Before the program's objects, which may already use `new`.
__attribute__((constructor(103))) static void watch_memory()
{
    std::set_new_handler([] { tpc_fail(TPC_MEMORY, "new: more than 256 MiB"); });
}

// ---- pulses ----

// Looks at the pin until it has the level or the time is up.
static bool watch_until(uint8_t pin, bool level, uint64_t end_ns)
{
    while (tpc_level(pin) != level) {
        if (tpc.now_ns >= end_ns) {
            return false;
        }
        tpc_spend(TP_COST_PULSE_POLL);
    }
    return true;
}

uint32_t pulseIn(uint8_t pin, uint8_t level, uint32_t timeout_us)
{
    uint8_t id = tpc_board_pin(pin);
    uint64_t end_ns = tpc.now_ns + (uint64_t)timeout_us * 1000u;
    uint64_t start_ns;
    tpc_spend(TP_COST_DIGITAL_READ);
    if (!watch_until(id, level == LOW, end_ns) || !watch_until(id, level != LOW, end_ns)) {
        return 0;
    }
    start_ns = tpc.now_ns;
    if (!watch_until(id, level == LOW, end_ns)) {
        return 0;
    }
    return (uint32_t)((tpc.now_ns - start_ns) / 1000u);
}

uint32_t pulseInLong(uint8_t pin, uint8_t level, uint32_t timeout_us)
{
    return pulseIn(pin, level, timeout_us);
}

// ---- tones: one at a time, by the timer's divider ----

static uint8_t tone_pin;
static bool tone_set;

static uint64_t half_period_cycles(uint32_t hertz)
{
#if defined(TP_CHIP_ATMEGA32U4)
    static const uint32_t prescalers[] = {1, 64}; // timer 3, 16 bits
    const uint32_t top = 65536;
#else
    static const uint32_t prescalers[] = {1, 8, 32, 64, 128, 256, 1024}; // timer 2, 8 bits
    const uint32_t top = 256;
#endif
    uint32_t last = 1, counts = 1;
    for (uint32_t prescaler : prescalers) {
        last = prescaler;
        counts = F_CPU / hertz / 2 / prescaler;
        if (counts <= top) {
            break;
        }
    }
    if (counts > top) {
        counts = (counts - 1) % top + 1;
    }
    return (uint64_t)last * (counts ? counts : 1);
}

void tone(uint8_t pin, unsigned int hertz, uint32_t ms)
{
    uint8_t id = tpc_board_pin(pin);
    uint16_t wanted = (uint16_t)hertz; // 16 bits on the chip
    tpc_spend(TP_COST_TONE);
    if (wanted == 0 || (tone_set && tone_pin != id && tpc_wave_on(tone_pin))) {
        return;
    }
    tone_pin = id;
    tone_set = true;
    tp_stop_wave(id);
    tpc_mode(id, OUTPUT);
    uint64_t cycles = half_period_cycles(wanted);
    uint64_t edges = (uint64_t)wanted * ms * 2 / 1000;
    tp_start_wave(id, cycles, cycles, ms == 0 ? 0 : edges ? edges : 1);
}

void noTone(uint8_t pin)
{
    uint8_t id = tpc_board_pin(pin);
    tpc_spend(TP_COST_TONE);
    tp_stop_wave(id);
    tpc_drive(id, false);
}

// ---- numbers ----

// The minimal standard generator of Park and Miller: x = 16807 x mod (2^31 - 1).
static uint32_t random_state = 1;

static uint32_t next_random()
{
    tpc_spend(TP_COST_RANDOM);
    random_state = (uint32_t)((uint64_t)random_state * 16807u % 2147483647u);
    return random_state;
}

void randomSeed(uint32_t seed)
{
    if (seed % 2147483647u != 0) {
        random_state = seed % 2147483647u;
    }
}

int32_t random(int32_t end)
{
    return end == 0 ? 0 : (int32_t)next_random() % end;
}

int32_t random(int32_t begin, int32_t end)
{
    return begin >= end ? begin : random(end - begin) + begin;
}

int32_t map(int32_t x, int32_t in_min, int32_t in_max, int32_t out_min, int32_t out_max)
{
    uint32_t product = ((uint32_t)x - (uint32_t)in_min) * ((uint32_t)out_max - (uint32_t)out_min);
    return (int32_t)product / (in_max - in_min) + out_min;
}
