/* guard.c: signals, limits and exit: turns the end of the program into a FAIL frame.
 *
 * None of this ever influences a run that passes: the limits are far above what firmware for a
 * chip with a few KiB of RAM uses, and the CPU clock only ends a program that makes no call.
 */
#include "core.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/time.h>

#if defined(__has_feature)
#if __has_feature(address_sanitizer)
#define SANITIZED 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__)
#define SANITIZED 1
#endif
#ifndef SANITIZED
#define SANITIZED 0
#endif

/* Present when only the program was compiled with the sanitizer. */
extern void __asan_init(void) __attribute__((weak));

enum { TICK_MS = 500, STUCK_TICKS = 10, MEMORY_MIB = 256, STACK_BYTES = 64 << 10 };

static void on_crash(int number)
{
    if (tpc_reading_values) {
        tpc_fail(TPC_REQUEST, "a named value lies at an address that the process does not have");
    }
    switch (number) {
    case SIGSEGV: tpc_fail(TPC_CRASHED, "SIGSEGV (wild pointer, or the stack ran over)");
    case SIGFPE: tpc_fail(TPC_CRASHED, "SIGFPE (division by zero)");
    case SIGABRT: tpc_fail(TPC_CRASHED, "SIGABRT (abort, failed assertion or damaged heap)");
    case SIGILL: tpc_fail(TPC_CRASHED, "SIGILL (illegal instruction)");
    case SIGBUS: tpc_fail(TPC_CRASHED, "SIGBUS (bad address)");
    default: tpc_fail(TPC_CRASHED, "signal");
    }
}

/* Every half second of CPU time. Ten without a call: the program hangs in code of its own, never
 * inside the core, so the core may be used from here. */
static void on_tick(int number)
{
    static uint64_t calls_before;
    static int ticks;
    (void)number;
    ticks = tpc.calls == calls_before ? ticks + 1 : 0;
    calls_before = tpc.calls;
    if (ticks < STUCK_TICKS) {
        return;
    }
    if (tpc_watchdog_due() != TPC_NEVER && !tpc_any_handler()) {
        tpc_wait_until(tpc_watchdog_due()); /* what the chip would do: does not come back */
    }
    tpc_fail(TPC_STUCK, "no call for 5 s of CPU time: an endless loop without a call, where a host"
                        " build's time stands still (call yield() in it)");
}

static void on_exit_call(void)
{
    fflush(stdout);
    tpc_fail(TPC_ENDED, "the program ended itself (exit)");
}

static void limit(int what)
{
    struct rlimit r;
    if (getrlimit(what, &r) == 0) {
        r.rlim_cur = (rlim_t)MEMORY_MIB << 20;
        if (r.rlim_max != RLIM_INFINITY && r.rlim_cur > r.rlim_max) {
            r.rlim_cur = r.rlim_max;
        }
        setrlimit(what, &r);
    }
}

static void handle_crashes(void)
{
    static const int numbers[] = {SIGSEGV, SIGFPE, SIGABRT, SIGILL, SIGBUS};
    static uint8_t stack_memory[STACK_BYTES];
    struct sigaction action;
    stack_t stack;
    unsigned i;
    memset(&stack, 0, sizeof stack);
    stack.ss_sp = stack_memory;
    stack.ss_size = sizeof stack_memory;
    sigaltstack(&stack, NULL);
    memset(&action, 0, sizeof action);
    action.sa_handler = on_crash;
    action.sa_flags = SA_ONSTACK;
    for (i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        sigaction(numbers[i], &action, NULL);
    }
}

static void watch_cpu(void)
{
    struct sigaction action;
    struct itimerval every;
    memset(&action, 0, sizeof action);
    action.sa_handler = on_tick;
    action.sa_flags = SA_RESTART;
    sigaction(SIGVTALRM, &action, NULL);
    every.it_interval.tv_sec = 0;
    every.it_interval.tv_usec = TICK_MS * 1000;
    every.it_value = every.it_interval;
    setitimer(ITIMER_VIRTUAL, &every, NULL);
}

void tpc_guard_start(void)
{
    if (!SANITIZED && !__asan_init) {
        limit(RLIMIT_AS);
        limit(RLIMIT_DATA);
        handle_crashes();
    }
    atexit(on_exit_call);
    watch_cpu();
}
