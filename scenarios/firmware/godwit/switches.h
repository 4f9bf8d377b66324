// Switches made clean: debouncing, and what the beep hat asks for.
#ifndef SWITCHES_H
#define SWITCHES_H

#include <Arduino.h>

const uint16_t PRESS_MS = 6;         // a sound contact bounces for less
const uint16_t LET_GO_MS = 30;       // a worn one opens for a moment while it is held
const uint16_t HAT_HOLD_MS = 350;    // held for longer, the hat runs
const uint16_t HAT_STUCK_MS = 15000; // closed for longer, it is stuck and ignored until it opens

// A contact to ground. It counts as changed when it has read otherwise for long enough.
class Contact {
 public:
  void begin(uint8_t pin) {
    pin_ = pin;
    pinMode(pin, INPUT_PULLUP);
    closed_ = digitalRead(pin) == LOW;
  }

  // Once every millisecond.
  void tick() {
    bool raw = digitalRead(pin_) == LOW;
    if (raw == closed_) {
      differs_ = 0;
    } else if (++differs_ >= (raw ? PRESS_MS : LET_GO_MS)) {
      closed_ = raw;
      differs_ = 0;
    }
  }

  bool closed() const { return closed_; }

 private:
  uint8_t pin_;
  bool closed_;
  uint16_t differs_ = 0;
};

// One direction of the hat. It counts only after it has been seen open with the drives on.
class HatDirection {
 public:
  void begin(uint8_t pin) { contact_.begin(pin); }

  void tick(bool drivesOn) {
    contact_.tick();
    if (!contact_.closed()) {
      armed_ = true;
      closedMs_ = 0;
    } else if (closedMs_ < HAT_STUCK_MS) {
      closedMs_++;
    }
    if (!drivesOn && contact_.closed()) armed_ = false;
  }

  bool pressed() const { return contact_.closed() && armed_ && closedMs_ < HAT_STUCK_MS; }

 private:
  Contact contact_;
  bool armed_ = false;
  uint16_t closedMs_ = 0;
};

// The two opposite directions of one axis.
class Hat {
 public:
  void begin(uint8_t minusPin, uint8_t plusPin) {
    minus_.begin(minusPin);
    plus_.begin(plusPin);
  }

  void tick(bool drivesOn) {
    minus_.tick(drivesOn);
    plus_.tick(drivesOn);
    // Both together cancel.
    int8_t now = int8_t(plus_.pressed()) - int8_t(minus_.pressed());
    tapped_ = now != 0 && now != direction_;
    heldMs_ = now == 0 || now != direction_ ? 0 : heldMs_ + (heldMs_ < HAT_HOLD_MS);
    direction_ = now;
  }

  int8_t direction() const { return direction_; }        // -1, 0 or 1
  bool tapped() const { return tapped_; }                // in this very millisecond
  bool running() const { return heldMs_ >= HAT_HOLD_MS; }

 private:
  HatDirection minus_, plus_;
  int8_t direction_ = 0;
  bool tapped_ = false;
  uint16_t heldMs_ = 0;
};

#endif
