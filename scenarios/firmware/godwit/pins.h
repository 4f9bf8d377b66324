// Which wire goes where. Every switch closes to ground (pull-up inside, LOW is closed); the
// drivers' enable and reset lines are active LOW.
//
//   what                         number  port     level
//   pitch angle sensor           A0      PF0      0 to 5 V
//   roll angle sensor            A1      PF1      0 to 5 V
//   motor supply, 1/11 of it     A2      PF2      100 kilohms over 10 kilohms
//   pitch step, direction        2, 3    PE4, PE5 a step on the rising edge; HIGH is aft
//   pitch enable, reset          5, 6    PE3, PH3 LOW is on; LOW puts the microstep index to 0
//   pitch current                7       PH4      HIGH is running, LOW is holding
//   roll step, direction         8, 9    PH5, PH6 a step on the rising edge; HIGH is right
//   roll enable, reset           10, 11  PB4, PB5 as in pitch
//   roll current                 12      PB6      as in pitch
//   trim release, force trim     22, 23  PA0, PA1 LOW is pressed, LOW is on
//   hat fore, aft, left, right   24-27   PA2-PA5  LOW is closed
#ifndef PINS_H
#define PINS_H

#include <Arduino.h>

enum { PITCH = 0, ROLL = 1, AXES = 2 };

const uint8_t SENSOR_PIN[AXES] = {A0, A1};
const uint8_t SUPPLY_PIN = A2;

const uint8_t STEP_PIN[AXES] = {2, 8};
const uint8_t DIR_PIN[AXES] = {3, 9};
const uint8_t ENABLE_PIN[AXES] = {5, 10};
const uint8_t RESET_PIN[AXES] = {6, 11};
const uint8_t CURRENT_PIN[AXES] = {7, 12};

const uint8_t RELEASE_PIN = 22;
const uint8_t FORCE_TRIM_PIN = 23;
// Towards minus and towards plus of each axis: fore and aft, left and right.
const uint8_t HAT_PIN[AXES][2] = {{24, 25}, {26, 27}};

#endif
