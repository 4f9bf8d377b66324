/* board.h: what depends on the board: names and numbers of its pins, chosen by TP_CHIP_...
 *
 * The numbering is the one printed on the boards on which the chips are commonly sold: common
 * practice, no source. What a port pin can do comes from the chips' data sheets (pin
 * configurations). The table from number to port pin stands in wiring.c.
 */
#ifndef TRIMPROOF_BOARD_H
#define TRIMPROOF_BOARD_H

#if defined(TP_CHIP_ATMEGA2560)
#define __AVR_ATmega2560__ 1
#define NUM_DIGITAL_PINS 70
#define NUM_ANALOG_INPUTS 16
#define TP_FIRST_ANALOG 54
#define E2END 0xFFF
#define RAMEND 0x21FF
#define FLASHEND 0x3FFFF
enum { SS = 53, MOSI = 51, MISO = 50, SCK = 52, SDA = 20, SCL = 21 };
enum { A0 = 54, A1, A2, A3, A4, A5, A6, A7, A8, A9, A10, A11, A12, A13, A14, A15 };
#define digitalPinToInterrupt(p) \
    ((p) == 2 ? 0 : (p) == 3 ? 1 : (p) >= 18 && (p) <= 21 ? 23 - (p) : NOT_AN_INTERRUPT)

#elif defined(TP_CHIP_ATMEGA328P)
#define __AVR_ATmega328P__ 1
#define NUM_DIGITAL_PINS 20
#define NUM_ANALOG_INPUTS 8
#define TP_FIRST_ANALOG 14
#define E2END 0x3FF
#define RAMEND 0x8FF
#define FLASHEND 0x7FFF
enum { SS = 10, MOSI = 11, MISO = 12, SCK = 13, SDA = 18, SCL = 19 };
enum { A0 = 14, A1, A2, A3, A4, A5, A6, A7 };
#define digitalPinToInterrupt(p) ((p) == 2 ? 0 : (p) == 3 ? 1 : NOT_AN_INTERRUPT)

#elif defined(TP_CHIP_ATMEGA32U4)
#define __AVR_ATmega32U4__ 1
#define USBCON USBCON
#define NUM_DIGITAL_PINS 31
#define NUM_ANALOG_INPUTS 12
#define TP_FIRST_ANALOG 18
#define E2END 0x3FF
#define RAMEND 0xAFF
#define FLASHEND 0x7FFF
enum { SS = 17, MOSI = 16, MISO = 14, SCK = 15, SDA = 2, SCL = 3 };
enum { A0 = 18, A1, A2, A3, A4, A5, A6, A7, A8, A9, A10, A11 };
#define LED_BUILTIN_RX 17
#define LED_BUILTIN_TX 30
#define digitalPinToInterrupt(p) \
    ((p) == 0 ? 2 : (p) == 1 ? 3 : (p) == 2 ? 1 : (p) == 3 ? 0 : (p) == 7 ? 4 : NOT_AN_INTERRUPT)

#else
#error "no chip chosen: compile with -DTP_CHIP_ATMEGA2560, ..328P or ..32U4"
#endif

#ifndef F_CPU
#error "no clock given: compile with -DF_CPU=16000000UL"
#endif

#define LED_BUILTIN 13
#define PIN_A0 TP_FIRST_ANALOG
#define NOT_AN_INTERRUPT (-1)
#define NOT_A_PIN 255
#define analogInputToDigitalPin(p) ((p) < NUM_ANALOG_INPUTS ? (p) + TP_FIRST_ANALOG : -1)
#define __AVR__ 1
#define ARDUINO_ARCH_AVR 1
#ifndef ARDUINO
#define ARDUINO 10819 /* programs ask for at least 100: the API's form since its version 1.0 */
#endif

#endif
