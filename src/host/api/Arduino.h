/* Arduino.h: the common setup()/loop() API of hobby boards over the host core.
 *
 * For C and C++. A .ino file is compiled as C++ with `#include <Arduino.h>` in front and, for
 * functions used before their definition, prototypes in front too; see README.md.
 * Times of the calls: ../costs.h. What differs from the chip: ../README.md.
 */
#ifndef TRIMPROOF_API_H
#define TRIMPROOF_API_H

#include <ctype.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#ifdef __cplusplus
#include <cmath>
#include <cstdlib>
#include <cstring>
#include <new>
#endif

#include "binary.h"
#include "board.h"
#include "trimproof_pins.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>

typedef uint8_t byte;
typedef uint16_t word;
typedef bool boolean;

#define LOW 0
#define HIGH 1
#define CHANGE 1
#define FALLING 2
#define RISING 3

#define INPUT 0
#define OUTPUT 1
#define INPUT_PULLUP 2

#define LSBFIRST 0
#define MSBFIRST 1

/* analogReference: DEFAULT and EXTERNAL both mean the reference that the wiring gives. */
#define EXTERNAL 0
#define DEFAULT 1
#if defined(TP_CHIP_ATMEGA2560)
#define INTERNAL1V1 2
#define INTERNAL2V56 3
#else
#define INTERNAL 3
#endif

#define PI 3.1415926535897932384626433832795
#define HALF_PI 1.5707963267948966192313216916398
#define TWO_PI 6.283185307179586476925286766559
#define DEG_TO_RAD 0.017453292519943295769236907684886
#define RAD_TO_DEG 57.295779513082320876798154814105
#define EULER 2.718281828459045235360287471352

/* Macros, as on the board: an argument with a call in it makes the call twice. */
#undef min
#undef max
#undef abs
#undef round
#define min(a, b) ((a) < (b) ? (a) : (b))
#define max(a, b) ((a) > (b) ? (a) : (b))
#define abs(x) ((x) > 0 ? (x) : -(x))
#define constrain(x, low, high) ((x) < (low) ? (low) : ((x) > (high) ? (high) : (x)))
#define round(x) ((x) >= 0 ? (long)((x) + 0.5) : (long)((x) - 0.5))
#define radians(deg) ((deg) * DEG_TO_RAD)
#define degrees(rad) ((rad) * RAD_TO_DEG)
#define sq(x) ((x) * (x))

#define lowByte(w) ((uint8_t)((w) & 0xff))
#define highByte(w) ((uint8_t)((w) >> 8))
#define bit(b) (1UL << (b))
#define bitRead(value, b) (((value) >> (b)) & 1)
#define bitSet(value, b) ((value) |= (1UL << (b)))
#define bitClear(value, b) ((value) &= ~(1UL << (b)))
#define bitToggle(value, b) ((value) ^= (1UL << (b)))
#define bitWrite(value, b, on) ((on) ? bitSet(value, b) : bitClear(value, b))

#define interrupts() tp_interrupts(true)
#define noInterrupts() tp_interrupts(false)
#define clockCyclesPerMicrosecond() (F_CPU / 1000000L)
#define clockCyclesToMicroseconds(a) ((a) / clockCyclesPerMicrosecond())
#define microsecondsToClockCycles(a) ((a) * clockCyclesPerMicrosecond())

#ifdef __cplusplus
extern "C" {
#endif

void pinMode(uint8_t pin, uint8_t mode);
int digitalRead(uint8_t pin);
void digitalWrite(uint8_t pin, uint8_t level);
int analogRead(uint8_t pin);
void analogReference(uint8_t mode);
void analogWrite(uint8_t pin, int duty);

/* 32 bits wide, so that they roll over as on the chip. Keep them in uint32_t: `unsigned long` has
 * 64 bits on this machine, and a difference across the roll-over then comes out wrong. */
uint32_t millis(void);
uint32_t micros(void);
void delay(uint32_t ms);
void delayMicroseconds(unsigned int us);
void yield(void) __attribute__((weak)); /* a program may have its own */

void attachInterrupt(uint8_t number, void (*handler)(void), int mode);
void detachInterrupt(uint8_t number);

/* What the chip's C library has beyond the standard. Bases 2 to 36, digits in lower case. */
char *itoa(int value, char *to, int base);
char *utoa(unsigned int value, char *to, int base);
char *ltoa(int32_t value, char *to, int base);
char *ultoa(uint32_t value, char *to, int base);
char *dtostrf(double value, signed char width, unsigned char digits, char *to);

void shiftOut(uint8_t data_pin, uint8_t clock_pin, uint8_t order, uint8_t value);
uint8_t shiftIn(uint8_t data_pin, uint8_t clock_pin, uint8_t order);

#ifdef __cplusplus
}

uint32_t pulseIn(uint8_t pin, uint8_t level, uint32_t timeout_us = 1000000);
uint32_t pulseInLong(uint8_t pin, uint8_t level, uint32_t timeout_us = 1000000);
void tone(uint8_t pin, unsigned int hertz, uint32_t ms = 0);
void noTone(uint8_t pin);

void randomSeed(uint32_t seed);
int32_t random(int32_t end);
int32_t random(int32_t begin, int32_t end);
/* 32 bits, as `long` on the chip: a product that does not fit there does not fit here. */
int32_t map(int32_t x, int32_t in_min, int32_t in_max, int32_t out_min, int32_t out_max);

inline bool isAlpha(int c) { return isalpha(c) != 0; }
inline bool isAlphaNumeric(int c) { return isalnum(c) != 0; }
inline bool isDigit(int c) { return isdigit(c) != 0; }
inline bool isHexadecimalDigit(int c) { return isxdigit(c) != 0; }
inline bool isLowerCase(int c) { return islower(c) != 0; }
inline bool isPrintable(int c) { return isprint(c) != 0; }
inline bool isPunct(int c) { return ispunct(c) != 0; }
inline bool isSpace(int c) { return isspace(c) != 0; }
inline bool isUpperCase(int c) { return isupper(c) != 0; }
inline bool isWhitespace(int c) { return c == ' ' || c == '\t'; }

inline uint16_t makeWord(uint16_t w) { return w; }
inline uint16_t makeWord(uint8_t high, uint8_t low) { return (uint16_t)(high << 8 | low); }
#define word(...) makeWord(__VA_ARGS__)

#include "HardwareSerial.h"
#include "WString.h"
#endif
#endif
