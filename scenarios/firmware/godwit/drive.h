// One trim drive: a stepper driver with step, direction, enable and reset lines, its position in
// microsteps from the stick's centre, and a trapezoidal profile to a goal.
#ifndef DRIVE_H
#define DRIVE_H

#include "settings.h"

const uint16_t RUN_ON_MS = 200;  // running current is kept so long after a movement

class Drive {
 public:
  void begin(uint8_t axis, const AxisSettings *settings) {
    axis_ = axis;
    settings_ = settings;
    changeQ8_ = max(int32_t(1), int32_t(settings->accel) * 256 / 1000);
    // Levels first, so that no pin shows another one when it becomes an output.
    digitalWrite(ENABLE_PIN[axis], HIGH);
    digitalWrite(RESET_PIN[axis], HIGH);
    pinMode(ENABLE_PIN[axis], OUTPUT);
    pinMode(RESET_PIN[axis], OUTPUT);
    pinMode(STEP_PIN[axis], OUTPUT);
    pinMode(DIR_PIN[axis], OUTPUT);
    pinMode(CURRENT_PIN[axis], OUTPUT);
  }

  // Puts the driver's index to 0: from here on its phase is known.
  void home() {
    digitalWrite(RESET_PIN[axis_], LOW);
    delayMicroseconds(10);
    digitalWrite(RESET_PIN[axis_], HIGH);
    position_ = -int32_t(settings_->phaseZero);
    goal_ = position_;
  }

  void off() {
    digitalWrite(ENABLE_PIN[axis_], HIGH);
    on_ = false;
    rateQ8_ = 0;
    goal_ = position_;
  }

  // Off, the driver goes on counting: one step towards the phase that fits the stick.
  void follow(int32_t stick) {
    int16_t apart = phaseApart(stick);
    if (apart != 0) step(apart > 0 ? 1 : -1);
    goal_ = position_;
  }

  // Whether the rotor would wake within an eighth of a full step of the stick.
  bool aligned(int32_t stick) const {
    return abs(phaseApart(stick)) <= max(1, int16_t(settings_->cycle / 32));
  }

  // Takes hold where the stick is.
  void on(int32_t stick) {
    position_ = stick - phaseApart(stick);  // whole cycles look alike to the rotor
    rateQ8_ = 0;
    runOnMs_ = RUN_ON_MS;
    on_ = true;
    digitalWrite(CURRENT_PIN[axis_], HIGH);
    digitalWrite(ENABLE_PIN[axis_], LOW);
    setGoal(position_, settings_->glideRate);
  }

  // Every way to a goal leads through the limits here.
  void setGoal(int32_t usteps, uint16_t rate) {
    goal_ = constrain(usteps, int32_t(settings_->softMin), int32_t(settings_->softMax));
    topRate_ = rate;
  }

  void tap(int8_t direction) {
    setGoal(goal_ + direction * int16_t(settings_->tap), settings_->nudgeRate);
  }

  void run(int8_t direction) {
    setGoal(direction > 0 ? settings_->softMax : settings_->softMin, settings_->nudgeRate);
  }

  // The nearest place at which it can stand.
  void stop() {
    int32_t way = rateQ8_ == 0 ? 0 : brakingWay();
    setGoal(position_ + (rateQ8_ < 0 ? -way : way), settings_->nudgeRate);
  }

  // Chooses the rate, once every millisecond. `wait` brings it to rest for now.
  void plan(bool wait) {
    if (!on_) return;
    int32_t left = goal_ - position_;
    int32_t speed = abs(rateQ8_);
    int32_t top = wait ? 0 : int32_t(topRate_) * 256;
    int32_t creep = int32_t(settings_->nudgeRate) * 32;  // an eighth of the rate
    bool towards = (left > 0 && rateQ8_ > 0) || (left < 0 && rateQ8_ < 0);
    int32_t wanted;
    if (left == 0 && speed <= 2 * creep) {
      wanted = 0;
    } else if (speed > 0 && (!towards || abs(left) <= brakingWay())) {
      wanted = max(towards ? creep : int32_t(0), speed - changeQ8_);
    } else if (speed > top) {
      wanted = max(top, speed - changeQ8_);
    } else {
      wanted = min(top, max(creep, speed + changeQ8_));
      if (speed == 0) nextUs_ = micros();
    }
    bool forward = speed == 0 ? left > 0 : rateQ8_ > 0;
    rateQ8_ = forward ? wanted : -wanted;
    if (wanted != 0 && wanted != speed) pauseUs_ = 256000000UL / uint32_t(wanted);
    if (left != 0 || rateQ8_ != 0) {
      runOnMs_ = RUN_ON_MS;
    } else if (runOnMs_ != 0) {
      runOnMs_--;
    }
    digitalWrite(CURRENT_PIN[axis_], runOnMs_ != 0 ? HIGH : LOW);
  }

  // Makes the next step when its time has come; as often as possible.
  void service() {
    if (!on_ || rateQ8_ == 0) return;
    uint32_t now = micros();
    if (now - nextUs_ < pauseUs_) return;
    nextUs_ += pauseUs_;
    if (now - nextUs_ > pauseUs_) nextUs_ = now;  // late: do not catch up in a burst
    step(rateQ8_ > 0 ? 1 : -1);
  }

  bool isOn() const { return on_; }
  bool atRest() const { return rateQ8_ == 0 && position_ == goal_; }
  int32_t position() const { return position_; }

  bool handOn(int32_t stick) const { return abs(stick - position_) > int32_t(settings_->handOn); }

 private:
  void step(int8_t sense) {
    digitalWrite(DIR_PIN[axis_], sense > 0 ? HIGH : LOW);
    delayMicroseconds(2);
    digitalWrite(STEP_PIN[axis_], HIGH);
    delayMicroseconds(3);
    digitalWrite(STEP_PIN[axis_], LOW);
    position_ += sense;
  }

  // Microsteps from the driver's phase to the stick, in the nearest cycle.
  int16_t phaseApart(int32_t stick) const {
    int16_t half = settings_->cycle / 2;
    return int16_t((stick - position_ + half) & (settings_->cycle - 1)) - half;
  }

  // v * v / 2a and the step under way.
  int32_t brakingWay() const {
    uint32_t rate = abs(rateQ8_) / 256;
    return rate * rate / (2UL * settings_->accel) + 1;
  }

  uint8_t axis_;
  const AxisSettings *settings_;
  bool on_ = false;
  int32_t position_ = 0;
  int32_t goal_ = 0;
  int32_t rateQ8_ = 0;  // microsteps a second, times 256
  int32_t changeQ8_ = 1;  // of the rate, in a millisecond
  uint16_t topRate_ = 0;
  uint32_t pauseUs_ = 0;
  uint32_t nextUs_ = 0;  // when the last step was due
  uint16_t runOnMs_ = 0;
};

#endif
