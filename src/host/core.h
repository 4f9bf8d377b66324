/* core.h: what the files of the host core share. Programs include trimproof_pins.h instead.
 *
 * core.c    virtual time, what is due when, the clock of micros()/millis(), main()
 * pipe.c    frames over stdin and stdout
 * pins.c    pins, ADC, pin interrupts
 * waves.c   square waves and PWM
 * serial.c  serial ports, EEPROM, watchdog
 * guard.c   signals, limits, exit: turns the end of the program into a FAIL frame
 */
#ifndef TRIMPROOF_CORE_H
#define TRIMPROOF_CORE_H

#include "costs.h"
#include "trimproof_pins.h"

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

#define TPC_IDENTITY "host core 0.1.0"
#define TPC_NEVER UINT64_MAX
#define TPC_PINS 96
#define TPC_CHANNELS 16

/* Kinds of FAIL and of events, as the protocol numbers them. */
enum { TPC_CRASHED = 1, TPC_ENDED, TPC_STUCK, TPC_MEMORY, TPC_FLOOD, TPC_REQUEST, TPC_OTHER = 9 };
enum { TPC_EV_PIN = 0, TPC_EV_SERIAL, TPC_EV_LOOP, TPC_EV_EEPROM, TPC_EV_RESET };
enum tpc_chip { TPC_ATMEGA2560, TPC_ATMEGA328P, TPC_ATMEGA32U4 };

struct tpc_state {
    uint64_t now_ns;
    uint64_t quick_ns;  /* time below it passes without a look at anything else */
    uint64_t next_ns;   /* when the next thing is due */
    uint64_t until_ns;  /* end of the present step */
    uint64_t calls;     /* counted so that guard.c sees a program that makes none */
    uint64_t offset_us; /* what the clock had counted when the run began */
    uint32_t frac;      /* part of a nanosecond, in 1 / clock_hz */
    uint32_t clock_hz;
    uint32_t reference_uv;
    uint32_t supply_uv;
    enum tpc_chip chip;
    bool interrupts_on;
    bool low_level;     /* an attached level interrupt sees its level now */
};
extern struct tpc_state tpc;

/* core.c */
void tpc_begin(void);                               /* after BEGIN: state as at power-on */
void tpc_advance(uint64_t target_ns, bool busy);    /* busy: a handler's time comes on top */
void tpc_look_again(void);                          /* after a change of what is due */
uint64_t tpc_ns_of_cycles(uint64_t cycles);
uint64_t tpc_ticks(void);                           /* of the clock's timer: 64 cycles each */
uint32_t tpc_micros(void);
uint32_t tpc_millis(void);
void tpc_interrupts_off(void);
void tpc_interrupts_on(void);

static inline void tpc_spend(uint32_t cycles)
{
    uint64_t total = (uint64_t)cycles * 1000000000u + tpc.frac;
    uint64_t target_ns = tpc.now_ns + total / tpc.clock_hz;
    tpc.frac = (uint32_t)(total % tpc.clock_hz);
    tpc.calls++;
    if (target_ns < tpc.quick_ns) {
        tpc.now_ns = target_ns;
    } else {
        tpc_advance(target_ns, true);
    }
}

static inline void tpc_wait_until(uint64_t target_ns)
{
    tpc.calls++;
    tpc_advance(target_ns, false);
}

/* pipe.c */
void tpc_pipe_open(void);
void tpc_pipe_begin(void);                          /* reads BEGIN, answers READY */
void tpc_pipe_run(void);                            /* reads RUN; ends the process on EOF */
void tpc_pipe_done(void);                           /* answers DONE */
void tpc_event(uint8_t kind, uint8_t id, uint32_t value);
void tpc_fail(uint8_t kind, const char *text) __attribute__((noreturn));
uint64_t tpc_change_due(void);
void tpc_change_apply(void);
extern volatile bool tpc_reading_values;            /* a crash is then the request's fault */

/* pins.c */
void tpc_outside(uint8_t pin, uint8_t level);
void tpc_analog(uint8_t channel, uint32_t microvolts);
void tpc_mode(uint8_t pin, int mode);
bool tpc_level(uint8_t pin);
void tpc_drive(uint8_t pin, bool high);
void tpc_reference(uint32_t microvolts);            /* 0: the one that BEGIN gives */
void tpc_check_pin(uint8_t pin);                    /* ends the run if no chip has it */
void tpc_latch(uint8_t pin, bool high);             /* as tpc_drive, handlers run later */
bool tpc_latched(uint8_t pin);
void tpc_run_handlers(bool level_too);
bool tpc_any_handler(void);

/* waves.c */
uint64_t tpc_wave_due(void);
void tpc_wave_edge(void);
bool tpc_wave_on(uint8_t pin);

/* serial.c */
void tpc_eeprom_clear(void);
bool tpc_eeprom_fill(uint32_t address, uint32_t length, const uint8_t *bytes);
void tpc_serial_put(uint8_t port, uint8_t byte, uint32_t cycles);
uint64_t tpc_serial_due(void);
void tpc_serial_leave(void);
uint64_t tpc_watchdog_due(void);

/* api/wiring.c */
uint8_t tpc_board_pin(uint8_t number);              /* a board number to a port pin */

/* guard.c */
void tpc_guard_start(void);

/* Chip and clock for which a board API was compiled; absent with the small interface alone. */
extern const char tpc_board_chip[] __attribute__((weak));
extern const uint32_t tpc_board_hz __attribute__((weak));

#ifdef __cplusplus
}
#endif
#endif
