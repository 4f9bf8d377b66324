/* pipe.c: the frames of the pin pipe, protocol 1, over private copies of stdin and stdout.
 *
 * The harness and the process take turns, so a step costs one read and one write; no call between
 * two steps makes a system call. All buffers are static: a program that damages the heap still
 * gets its FAIL out.
 */
#include "core.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { BEGIN = 0x01, RUN = 0x02, RESET = 0x03, READY = 0x81, DONE = 0x82, FAIL = 0x83 };
enum { FRAME_MAX = 16 << 20, EVENTS_MAX = 200000, EVENT_BYTES = 14, CHANGE_BYTES = 14 };
enum { VALUES_MAX = 64, HEAD = 5, DONE_HEAD = HEAD + 12, PRIVATE_FD = 60 };

static int fd_in, fd_out;
static uint8_t in[FRAME_MAX + 4];
static size_t in_used, frame_used; /* bytes read, bytes of the frame in hand */
static uint8_t out[DONE_HEAD + EVENTS_MAX * EVENT_BYTES + 1 + VALUES_MAX * 8];
static uint32_t events;
static const uint8_t *change, *changes_end; /* in the frame in hand */
static uint64_t change_ns = TPC_NEVER;
static struct { uintptr_t address; uint8_t size; } values[VALUES_MAX];
static unsigned value_count;
volatile bool tpc_reading_values;

static uint64_t get(const uint8_t *from, int bytes)
{
    uint64_t value = 0;
    int i;
    for (i = bytes - 1; i >= 0; i--) {
        value = value << 8 | from[i];
    }
    return value;
}

static void put(uint8_t *to, uint64_t value, int bytes)
{
    int i;
    for (i = 0; i < bytes; i++) {
        to[i] = (uint8_t)(value >> (8 * i));
    }
}

static int private_copy(int fd)
{
    int copy = fcntl(fd, F_DUPFD, PRIVATE_FD);
    if (copy >= 0) {
        fcntl(copy, F_SETFD, FD_CLOEXEC);
    }
    return copy;
}

/* Whatever the program prints goes to stderr, whatever it reads is empty. */
void tpc_pipe_open(void)
{
    static char line[4096];
    int null;
    signal(SIGPIPE, SIG_IGN);
    fd_in = private_copy(0);
    fd_out = private_copy(1);
    if (fd_in < 0 || fd_out < 0) {
        _exit(1);
    }
    null = open("/dev/null", O_RDWR);
    if (null >= 0) {
        dup2(null, 0);
    }
    if (dup2(2, 1) < 0 && null >= 0) {
        dup2(null, 1);
    }
    if (null > 2) {
        close(null);
    }
    setvbuf(stdout, line, _IOLBF, sizeof line);
}

static void leave(int status)
{
    fflush(stdout);
    _exit(status);
}

/* Length and type in front, then out in one piece. A broken pipe: nobody listens, leave. */
static void send_frame(uint8_t *frame, uint8_t type, size_t payload)
{
    size_t sent = 0, whole = HEAD + payload;
    put(frame, payload + 1, 4);
    frame[4] = type;
    while (sent < whole) {
        ssize_t n = write(fd_out, frame + sent, whole - sent);
        if (n < 0 && errno == EINTR) {
            continue;
        }
        if (n <= 0) {
            _exit(0);
        }
        sent += (size_t)n;
    }
}

/* Safe in a signal handler: no allocation, no stdio. */
void tpc_fail(uint8_t kind, const char *text)
{
    static uint8_t frame[HEAD + 3 + 512];
    size_t length = strlen(text);
    if (length > 512) {
        length = 512;
    }
    frame[HEAD] = kind;
    put(frame + HEAD + 1, length, 2);
    memcpy(frame + HEAD + 3, text, length);
    send_frame(frame, FAIL, 3 + length);
    _exit(1);
}

static void need(size_t bytes)
{
    while (in_used < bytes) {
        ssize_t n = read(fd_in, in + in_used, sizeof in - in_used);
        if (n < 0 && errno == EINTR) {
            continue;
        }
        if (n <= 0) {
            leave(0);
        }
        in_used += (size_t)n;
    }
}

/* The next frame's type; its payload lies in in[HEAD .. frame_used]. */
static uint8_t next_frame(void)
{
    size_t length;
    in_used -= frame_used;
    memmove(in, in + frame_used, in_used);
    frame_used = 0;
    need(HEAD);
    length = (size_t)get(in, 4);
    if (length < 1 || length > FRAME_MAX) {
        tpc_fail(TPC_REQUEST, "a frame's length is out of range");
    }
    need(4 + length);
    frame_used = 4 + length;
    tpc.calls++;
    return in[4];
}

/* A reader over the frame in hand that refuses to run past its end. */
static const uint8_t *cursor;

static const uint8_t *take(size_t bytes)
{
    const uint8_t *at = cursor;
    if ((size_t)(in + frame_used - cursor) < bytes) {
        tpc_fail(TPC_REQUEST, "a frame is shorter than its fields");
    }
    cursor += bytes;
    return at;
}

static uint64_t take_number(int bytes)
{
    return get(take((size_t)bytes), bytes);
}

static bool is_name(const uint8_t *bytes, size_t length, const char *name)
{
    return strlen(name) == length && memcmp(bytes, name, length) == 0;
}

static void take_chip(void)
{
    static const char *const names[] = {"atmega2560", "atmega328p", "atmega32u4"};
    size_t length = (size_t)take_number(1);
    const uint8_t *name = take(length);
    unsigned i;
    for (i = 0; i < 3; i++) {
        if (is_name(name, length, names[i])) {
            tpc.chip = (enum tpc_chip)i;
            if (tpc_board_chip && !is_name(name, length, tpc_board_chip)) {
                tpc_fail(TPC_REQUEST, "the program was compiled for another chip");
            }
            return;
        }
    }
    tpc_fail(TPC_REQUEST, "unknown chip");
}

static void take_fills(void)
{
    unsigned count = (unsigned)take_number(2);
    while (count-- > 0) {
        uint8_t space = (uint8_t)take_number(1);
        uint32_t address = (uint32_t)take_number(4);
        uint32_t length = (uint32_t)take_number(4);
        const uint8_t *bytes = take(length);
        if (space != 1) {
            tpc_fail(TPC_REQUEST, "a host build has no flash to fill");
        }
        if (!tpc_eeprom_fill(address, length, bytes)) {
            tpc_fail(TPC_REQUEST, "a fill lies outside the EEPROM");
        }
    }
}

static void take_values(void)
{
    unsigned i;
    value_count = (unsigned)take_number(1);
    if (value_count > VALUES_MAX) {
        tpc_fail(TPC_REQUEST, "more than 64 named values");
    }
    for (i = 0; i < value_count; i++) {
        values[i].address = (uintptr_t)take_number(8);
        values[i].size = (uint8_t)take_number(1);
        if (values[i].size != 1 && values[i].size != 2 && values[i].size != 4
            && values[i].size != 8) {
            tpc_fail(TPC_REQUEST, "a named value's size is not 1, 2, 4 or 8");
        }
    }
}

void tpc_pipe_begin(void)
{
    static const char identity[] = TPC_IDENTITY;
    if (next_frame() != BEGIN) {
        tpc_fail(TPC_REQUEST, "the first frame is not BEGIN");
    }
    cursor = in + HEAD;
    if (take_number(2) != 1) {
        tpc_fail(TPC_REQUEST, "unknown protocol version");
    }
    take_chip();
    tpc.clock_hz = (uint32_t)take_number(4);
    tpc.reference_uv = (uint32_t)take_number(4);
    tpc.supply_uv = (uint32_t)take_number(4);
    tpc.offset_us = take_number(8);
    if (tpc.clock_hz < 1000000 || tpc.clock_hz > 1000000000) {
        tpc_fail(TPC_REQUEST, "the clock is not within 1 MHz to 1 GHz");
    }
    if (&tpc_board_hz && tpc_board_hz != tpc.clock_hz) {
        tpc_fail(TPC_REQUEST, "the program was compiled for another clock (F_CPU)");
    }
    if (tpc.reference_uv == 0) {
        tpc_fail(TPC_REQUEST, "the ADC reference is 0 V");
    }
    tpc_eeprom_clear();
    take_fills();
    take_values();
    take(5); /* where loop() lies in flash: for the simulator */
    tpc_begin();
    put(out + HEAD, 1, 2);
    out[HEAD + 2] = sizeof identity - 1;
    memcpy(out + HEAD + 3, identity, sizeof identity - 1);
    send_frame(out, READY, 3 + sizeof identity - 1);
}

static void look_at_change(void)
{
    change_ns = change < changes_end ? get(change, 8) : TPC_NEVER;
}

/* All changes are looked at before the first is applied, so a bad frame never half happens. */
static void check_changes(void)
{
    uint64_t before_ns = 0;
    const uint8_t *c;
    for (c = change; c < changes_end; c += CHANGE_BYTES) {
        uint64_t at_ns = get(c, 8);
        uint32_t value = (uint32_t)get(c + 10, 4);
        if (at_ns < before_ns || at_ns > tpc.until_ns) {
            tpc_fail(TPC_REQUEST, "the changes are not in order of time within the step");
        }
        if (c[8] > 1 || c[9] >= (c[8] == 0 ? TPC_PINS : TPC_CHANNELS) || (c[8] == 0 && value > 2)) {
            tpc_fail(TPC_REQUEST, "a change of an unknown input or level");
        }
        before_ns = at_ns;
    }
}

void tpc_pipe_run(void)
{
    size_t count;
    if (next_frame() != RUN) {
        tpc_fail(TPC_REQUEST, "a host build serves RUN only; a reset starts its process again");
    }
    cursor = in + HEAD;
    tpc.until_ns = take_number(8);
    count = (size_t)take_number(2);
    change = take(count * CHANGE_BYTES);
    changes_end = cursor;
    check_changes();
    look_at_change();
    events = 0;
}

uint64_t tpc_change_due(void)
{
    return change_ns;
}

void tpc_change_apply(void)
{
    uint8_t kind = change[8], id = change[9];
    uint32_t value = (uint32_t)get(change + 10, 4);
    change += CHANGE_BYTES;
    look_at_change();
    if (kind == 0) {
        tpc_outside(id, (uint8_t)value);
    } else {
        tpc_analog(id, value);
    }
}

void tpc_event(uint8_t kind, uint8_t id, uint32_t value)
{
    uint8_t *event = out + DONE_HEAD + events * EVENT_BYTES;
    if (events == EVENTS_MAX) {
        tpc_fail(TPC_FLOOD, "more than 200,000 events in one step");
    }
    events++;
    put(event, tpc.now_ns, 8);
    event[8] = kind;
    event[9] = id;
    put(event + 10, value, 4);
}

void tpc_pipe_done(void)
{
    uint8_t *end = out + DONE_HEAD + events * EVENT_BYTES;
    unsigned i;
    put(out + HEAD, tpc.now_ns, 8);
    put(out + HEAD + 8, events, 4);
    *end++ = (uint8_t)value_count;
    tpc_reading_values = true;
    for (i = 0; i < value_count; i++) {
        memcpy(end, (const void *)values[i].address, values[i].size);
        end += values[i].size;
    }
    tpc_reading_values = false;
    send_frame(out, DONE, (size_t)(end - out) - HEAD);
}
