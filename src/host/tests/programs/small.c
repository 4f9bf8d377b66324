/* small.c: the small interface alone, as C99. */
#include "trimproof_pins.h"

volatile uint64_t start_ns, end_ns;
volatile uint16_t code;
static volatile unsigned edges;

static void on_edge(void)
{
    edges++;
}

void setup(void)
{
    tp_pin_mode(TP_PIN('B', 5), TP_OUTPUT);
    tp_serial_begin(1, 115200);
    start_ns = tp_now_ns();
    tp_wait_us(250);
    end_ns = tp_now_ns();
    tp_serial_write(1, 0x55);
    tp_eeprom_write(5, tp_eeprom_read(4));
    tp_attach_interrupt(TP_PIN('E', 4), on_edge, TP_CHANGE);
}

void loop(void)
{
    tp_write_pin(TP_PIN('B', 5), tp_read_pin(TP_PIN('E', 4)));
    code = tp_read_adc(7);
    tp_wait_ns(1000000 - tp_now_us() % 1000);
}
