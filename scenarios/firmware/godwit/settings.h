// The numbers of one stick. They lie in the EEPROM from address 0, low byte first, with a checksum
// behind them; without a valid set the defaults are used (those of the rig kittiwake).
// eeprom/make.py writes such a set for each rig.
#ifndef SETTINGS_H
#define SETTINGS_H

#include <Arduino.h>
#include <EEPROM.h>

#include "pins.h"

// Only 16-bit fields, so that no compiler puts gaps between them.
struct AxisSettings {
  uint16_t zeroQ4;         // sensor reading at centre, ADC counts times 16
  int16_t ustepsPerCount;  // microsteps of the drive in one ADC count, times 256, signed
  uint16_t adcLow;         // readings outside are a broken or shorted wire
  uint16_t adcHigh;
  uint16_t cycle;          // microsteps of an electrical cycle (four full steps), a power of two
  int16_t phaseZero;       // microsteps from the driver's index 0 to the stick's centre
  int16_t softMin;         // limits of the trim, microsteps from centre
  int16_t softMax;
  uint16_t glideRate;      // microsteps a second
  uint16_t nudgeRate;
  uint16_t accel;          // microsteps a second, each second
  uint16_t tap;            // microsteps of one tap of the hat
  uint16_t handOn;         // microsteps of deflection that say that a hand holds the stick
};

struct Settings {
  uint16_t magic;
  uint16_t supplyOn;   // ADC counts of the divided supply: drives may go on above this
  uint16_t supplyOff;  // and must go off below this
  AxisSettings axis[AXES];
  uint16_t checksum;
};

const uint16_t SETTINGS_MAGIC = 0x4757;

const Settings DEFAULT_SETTINGS PROGMEM = {
    SETTINGS_MAGIC,
    354,  // 19 V / 11 of 5 V
    298,  // 16 V
    {{8286, 800, 50, 975, 64, 20, -986, 986, 533, 320, 1600, 24, 80},
     {8138, 800, 50, 975, 64, 3, -880, 880, 533, 320, 1600, 24, 80}},
    0};

// Fletcher's sum over all bytes before the checksum; it sees swapped bytes.
inline uint16_t checksumOf(const Settings &settings) {
  const uint8_t *byte = reinterpret_cast<const uint8_t *>(&settings);
  uint16_t a = 0x5A, b = 0xA5;
  for (uint16_t i = 0; i < sizeof(Settings) - sizeof(settings.checksum); i++) {
    a = (a + byte[i]) % 255;
    b = (b + a) % 255;
  }
  return (b << 8) | a;
}

// Reads the set from the EEPROM; false if the defaults had to do.
inline bool loadSettings(Settings &settings) {
  uint8_t *byte = reinterpret_cast<uint8_t *>(&settings);
  for (uint16_t i = 0; i < sizeof(Settings); i++) byte[i] = EEPROM.read(i);
  if (settings.magic == SETTINGS_MAGIC && settings.checksum == checksumOf(settings)) return true;
  memcpy_P(&settings, &DEFAULT_SETTINGS, sizeof(Settings));
  return false;
}

#endif
