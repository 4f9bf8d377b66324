// One angle sensor: plausible or not, filtered, in microsteps of its drive.
#ifndef SENSOR_H
#define SENSOR_H

#include "settings.h"

// A stick that is thrown against its stops makes 900 deg/s: under 0.7 deg, or 12 counts, between
// two readings. A sensor that jumps by more than this is broken.
const int16_t JUMP_COUNTS = 40;
const uint16_t GOOD_MS = 100;  // so long it must read well before it is believed

class Sensor {
 public:
  void begin(const AxisSettings *settings) { settings_ = settings; }

  // Takes one conversion.
  void take(int16_t adc) {
    bool inside = adc >= int16_t(settings_->adcLow) && adc <= int16_t(settings_->adcHigh);
    if (!inside) {
      if (badReadings_ < 255) badReadings_++;
      if (badReadings_ >= 3) goodMs_ = 0;
      known_ = false;
      return;
    }
    badReadings_ = 0;
    if (known_ && abs(adc - last_) > JUMP_COUNTS) {
      goodMs_ = 0;
      jumped_ = true;
    }
    int16_t q4 = adc * 16 + 8;  // the middle of the count
    if (!known_ && goodMs_ == 0) {
      filteredQ4_ = q4;
    } else {
      filteredQ4_ += (q4 - filteredQ4_) / 4;
    }
    last_ = adc;
    known_ = true;
  }

  // Once every millisecond.
  void tick() {
    if (known_ && goodMs_ < GOOD_MS) goodMs_++;
  }

  bool good() const { return goodMs_ >= GOOD_MS && !jumped_; }

  // The pilot has switched force trim off: try again.
  void forgive() { jumped_ = false; }

  // Where the stick is, microsteps from centre.
  int32_t usteps() const {
    int32_t fromZero = int32_t(filteredQ4_) - int32_t(settings_->zeroQ4);
    return (fromZero * settings_->ustepsPerCount) / 4096;
  }

 private:
  const AxisSettings *settings_;
  int16_t filteredQ4_ = 0;
  int16_t last_ = 0;
  uint8_t badReadings_ = 0;
  uint16_t goodMs_ = 0;
  bool known_ = false;
  bool jumped_ = false;
};

#endif
