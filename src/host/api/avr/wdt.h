/* avr/wdt.h: the watchdog. When it is not reset in time the run ends with "watchdog reset". */
#ifndef TRIMPROOF_AVR_WDT_H
#define TRIMPROOF_AVR_WDT_H

#include "trimproof_pins.h"

#define WDTO_15MS 0
#define WDTO_30MS 1
#define WDTO_60MS 2
#define WDTO_120MS 3
#define WDTO_250MS 4
#define WDTO_500MS 5
#define WDTO_1S 6
#define WDTO_2S 7
#define WDTO_4S 8
#define WDTO_8S 9

#define wdt_enable(period) tp_watchdog_start(period)
#define wdt_reset() tp_watchdog_reset()
#define wdt_disable() tp_watchdog_stop()

#endif
