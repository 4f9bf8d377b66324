/* costs.h: what each call costs on the board, in cycles of the chip's clock.
 *
 * First guesses for a 16 MHz 8-bit chip with the common core: practice, not measured here. They
 * stand in this one file so that a calibration against the simulator changes nothing else.
 */
#ifndef TRIMPROOF_COSTS_H
#define TRIMPROOF_COSTS_H

/* From power to the first instruction of setup(): start-up code and timer set-up. */
#define TP_COST_START 600
/* From the end of one loop() to the beginning of the next. */
#define TP_COST_LOOP_TURN 12

/* ---- the common setup()/loop() API ---- */
#define TP_COST_PIN_MODE 70
#define TP_COST_DIGITAL_READ 75
#define TP_COST_DIGITAL_WRITE 80
#define TP_COST_ANALOG_WRITE 120
#define TP_COST_MICROS 56
#define TP_COST_MILLIS 24
#define TP_COST_DELAY_POLL 40       /* delay(): from the instant to the return */
#define TP_COST_DELAY_US_CALL 16    /* delayMicroseconds(0) and (1) */
#define TP_COST_SERIAL_BYTE 110     /* Serial.write of one byte into a buffer with room */
#define TP_COST_USB_BYTE 200        /* the same on the USB port of the 32U4 */
#define TP_COST_SERIAL_BEGIN 300
#define TP_COST_SERIAL_POLL 20      /* available(), read(), availableForWrite() */
#define TP_COST_TONE 400
#define TP_COST_ATTACH 60
#define TP_COST_INTERRUPT_FLAG 1    /* sei, cli */
#define TP_COST_RANDOM 700          /* two 32-bit divisions */
#define TP_COST_PULSE_POLL 16       /* pulseIn(): one look at the pin */
#define TP_COST_YIELD 4

/* ---- the small interface: what a program with registers of its own would need ---- */
#define TP_COST_RAW_PIN 8
#define TP_COST_RAW_NOW 20
#define TP_COST_RAW_SERIAL_BYTE 40

/* ---- both ---- */
/* ADC: clocks of the ADC, whose prescaler gives at most 200 kHz from 16 MHz / 128, 8 MHz / 64 ...
 * (ATmega640/1280/1281/2560/2561 data sheet, "Prescaling and Conversion Timing": 13 clocks, sample
 * after 1.5; the first conversion 25, sample after 13.5; values from memory). */
#define TP_ADC_CLOCKS_TIMES_2 26
#define TP_ADC_SAMPLE_TIMES_2 3
#define TP_ADC_FIRST_EXTRA_TIMES_2 24
#define TP_COST_ADC_CALL 128        /* wait for the prescaler, code around: 112 us in all */
#define TP_COST_EEPROM_READ 10
#define TP_COST_EEPROM_WRITE 30
#define TP_EEPROM_BUSY_NS 3400000u  /* data sheet, "EEPROM": erase and write 3.4 ms, from memory */
#define TP_COST_WATCHDOG 10
#define TP_COST_HANDLER_ENTRY 45    /* a pin interrupt: latency, saved registers, indirect call */
#define TP_COST_HANDLER_EXIT 35

#endif
