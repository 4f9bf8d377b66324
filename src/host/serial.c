/* serial.c: serial ports, EEPROM and watchdog. */
#include "core.h"

#include <string.h>

/* A byte on its way waits in the 64-byte ring, which holds 63, in the data register or in the
 * shift register: 65 bytes are taken before a write blocks. */
enum { PORTS = 4, USB = 8, IN_FLIGHT = 65, RING = 63, EEPROM_MAX = 4096 };

static struct port {
    uint64_t leave_ns; /* when the oldest byte has left */
    uint64_t byte_ns;  /* 0: never begun */
    uint8_t bytes[IN_FLIGHT];
    uint8_t first, count;
} ports[PORTS];
static uint64_t serial_ns = TPC_NEVER;

static uint8_t eeprom[EEPROM_MAX];
static uint64_t eeprom_ready_ns;

static uint64_t watchdog_ns = TPC_NEVER;
static int watchdog_period;

/* ---- serial ports ---- */

static void find_serial_due(void)
{
    unsigned i;
    serial_ns = TPC_NEVER;
    for (i = 0; i < PORTS; i++) {
        if (ports[i].count && ports[i].leave_ns < serial_ns) {
            serial_ns = ports[i].leave_ns;
        }
    }
}

uint64_t tpc_serial_due(void)
{
    return serial_ns;
}

void tpc_serial_leave(void)
{
    unsigned i;
    for (i = 0; i < PORTS; i++) {
        struct port *p = &ports[i];
        if (p->count && p->leave_ns <= tpc.now_ns) {
            tpc_event(TPC_EV_SERIAL, (uint8_t)i, p->bytes[p->first]);
            p->first = (uint8_t)((p->first + 1) % IN_FLIGHT);
            p->count--;
            p->leave_ns += p->byte_ns;
        }
    }
    find_serial_due();
}

/* Baud rates are what the divider gives: double speed where it fits, as the common core picks it
 * (57600 at 16 MHz excepted). 10 bits a byte. */
void tp_serial_begin(uint8_t port, uint32_t baud)
{
    uint64_t divider, speed = 8;
    tpc_spend(TP_COST_SERIAL_BEGIN);
    if (port == USB || port >= PORTS) {
        return;
    }
    if (baud == 0) {
        ports[port].byte_ns = 0;
        ports[port].count = 0;
        find_serial_due();
        tpc_look_again();
        return;
    }
    divider = (tpc.clock_hz / 4 / baud + 1) / 2;
    if ((tpc.clock_hz == 16000000 && baud == 57600) || divider > 4096) {
        speed = 16;
        divider = (tpc.clock_hz / 8 / baud + 1) / 2;
    }
    ports[port].byte_ns = tpc_ns_of_cycles(10 * speed * (divider ? divider : 1));
}

void tpc_serial_put(uint8_t port, uint8_t byte, uint32_t cycles)
{
    struct port *p;
    tpc_spend(cycles);
    if (port == USB) {
        tpc_event(TPC_EV_SERIAL, USB, byte);
        return;
    }
    if (port >= PORTS || ports[port].byte_ns == 0) {
        return;
    }
    p = &ports[port];
    while (p->count == IN_FLIGHT) {
        tpc_wait_until(p->leave_ns);
    }
    p->bytes[(p->first + p->count) % IN_FLIGHT] = byte;
    if (p->count++ == 0) {
        p->leave_ns = tpc.now_ns + p->byte_ns;
    }
    find_serial_due();
    tpc_look_again();
}

void tp_serial_write(uint8_t port, uint8_t byte)
{
    tpc_serial_put(port, byte, TP_COST_RAW_SERIAL_BYTE);
}

void tp_serial_flush(uint8_t port)
{
    tpc_spend(TP_COST_SERIAL_POLL);
    while (port < PORTS && ports[port].count) {
        tpc_wait_until(ports[port].leave_ns);
    }
}

int tp_serial_room(uint8_t port)
{
    int waiting = port < PORTS ? ports[port].count - (IN_FLIGHT - RING) : 0;
    tpc_spend(TP_COST_SERIAL_POLL);
    return waiting > 0 ? RING - waiting : RING;
}

/* ---- EEPROM ---- */

uint32_t tp_eeprom_size(void)
{
    return tpc.chip == TPC_ATMEGA2560 ? 4096 : 1024;
}

void tpc_eeprom_clear(void)
{
    memset(eeprom, 0xFF, sizeof eeprom);
}

bool tpc_eeprom_fill(uint32_t address, uint32_t length, const uint8_t *bytes)
{
    if (address > tp_eeprom_size() || length > tp_eeprom_size() - address) {
        return false;
    }
    memcpy(eeprom + address, bytes, length);
    return true;
}

static void wait_for_eeprom(void)
{
    if (tpc.now_ns < eeprom_ready_ns) {
        tpc_wait_until(eeprom_ready_ns);
    }
}

uint8_t tp_eeprom_read(uint32_t address)
{
    wait_for_eeprom();
    tpc_spend(TP_COST_EEPROM_READ);
    return eeprom[address % tp_eeprom_size()];
}

void tp_eeprom_write(uint32_t address, uint8_t byte)
{
    uint32_t cell = address % tp_eeprom_size();
    wait_for_eeprom();
    tpc_spend(TP_COST_EEPROM_WRITE);
    eeprom[cell] = byte;
    eeprom_ready_ns = tpc.now_ns + TP_EEPROM_BUSY_NS;
    tpc_event(TPC_EV_EEPROM, 0, cell << 8 | byte);
}

/* ---- watchdog: 2048 cycles of its 128 kHz oscillator, doubled with each period (chip data
 * sheets, "Watchdog Timer"; from memory) ---- */

uint64_t tpc_watchdog_due(void)
{
    return watchdog_ns;
}

void tp_watchdog_start(int period)
{
    watchdog_period = period < 0 ? 0 : period > 9 ? 9 : period;
    watchdog_ns = TPC_NEVER - 1;
    tp_watchdog_reset();
}

void tp_watchdog_reset(void)
{
    tpc_spend(TP_COST_WATCHDOG);
    if (watchdog_ns != TPC_NEVER) {
        watchdog_ns = tpc.now_ns + (UINT64_C(16000000) << watchdog_period);
        tpc_look_again();
    }
}

void tp_watchdog_stop(void)
{
    tpc_spend(TP_COST_WATCHDOG);
    watchdog_ns = TPC_NEVER;
    tpc_look_again();
}
