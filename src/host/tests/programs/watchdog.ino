// watchdog.ino: reset in time for a while, then no more; byte 0 of the EEPROM says how.
#include <EEPROM.h>
#include <avr/wdt.h>

volatile uint32_t spins;

void setup()
{
    wdt_enable(WDTO_120MS);
    for (int i = 0; i < 20; i++) {
        delay(50);
        wdt_reset();
    }
    if (EEPROM.read(0) == 1) {
        for (;;) {
            spins++;
        }
    }
    if (EEPROM.read(0) == 2) {
        wdt_disable();
    }
}

void loop() { delay(10); }
