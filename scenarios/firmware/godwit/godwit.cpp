// Godwit: a firmware for the trim of a two-axis force-feel stick, for an ATmega2560 board.
//
// One loop, nothing blocks: each turn makes the steps that are due and one conversion; once a
// millisecond it reads the switches and decides. pins.h has the wiring, settings.h the numbers.
//
// Off: no supply, a bad sensor, or force trim off. Released: the pilot holds the trim release.
// Gliding: to centre, once after the supply has come. Holding: on, and the hat may move the trim.

#include <Arduino.h>

#include "drive.h"
#include "pins.h"
#include "sensor.h"
#include "settings.h"
#include "switches.h"

// The supply must be good for so long.
const uint16_t SUPPLY_STEADY_MS = 200;
// The shaft is still on its way to the stick for so long after the drives went off under load.
const uint16_t OFF_LEAST_MS = 120;
// A stick that moves may keep the phase from fitting: after so long the drives go on all the same.
const uint16_t ALIGN_MOST_MS = 20;
// The glide waits so long after a hand has left.
const uint16_t HAND_OFF_MS = 300;

enum Mode : uint8_t { OFF, RELEASED, GLIDING, HOLDING };
const char MODE_NAMES[] PROGMEM = "off\0     released\0gliding\0 holding\0";

Settings settings;
Sensor sensor[AXES];
Drive drive[AXES];
Contact release;
Contact forceTrim;
Hat hat[AXES];

Mode mode = OFF;
bool homed = false;      // the drivers' phase is known
bool glideOwed = true;   // the supply has come and the stick has not been to centre
bool supplyGood = false;
uint8_t supplyLow = 0;   // low readings in a row
uint16_t supplyMs = 0;
uint16_t offMs = 0;
uint16_t alignMs = 0;
uint16_t handMs = 0;
bool wasRunning[AXES] = {false, false};
uint32_t lastTickUs = 0;

bool drivesOn() { return mode == GLIDING || mode == HOLDING; }

void change(Mode to) {
  if (to == mode) return;
  if (to == OFF || to == RELEASED) {
    for (uint8_t a = 0; a < AXES; a++) drive[a].off();
    if (drivesOn()) offMs = 0;
    alignMs = 0;
  }
  mode = to;
  // A name of nine bytes: the port's buffer takes it without waiting.
  for (uint8_t i = 0; i < 9; i++) {
    char c = pgm_read_byte(&MODE_NAMES[to * 9 + i]);
    if (c == 0) break;
    Serial.write(c);
  }
  Serial.write('\n');
}

void takeSupply(uint16_t adc) {
  supplyLow = adc >= settings.supplyOff ? 0 : supplyLow + (supplyLow < 255);
  if (supplyLow >= 2) {
    supplyGood = false;
    supplyMs = 0;
    homed = false;  // below their own limit the drivers forget their phase
    glideOwed = true;
    change(OFF);
  }
  if (adc < settings.supplyOn) supplyMs = 0;
}

// One conversion a turn: each takes as long as a few steps.
void convert() {
  static uint8_t channel = 0;
  if (channel < AXES) {
    sensor[channel].take(analogRead(SENSOR_PIN[channel]));
  } else {
    takeSupply(analogRead(SUPPLY_PIN));
  }
  channel = channel < AXES ? channel + 1 : 0;
}

// Switches the drives on once their phase fits the stick.
void engage() {
  if (offMs < OFF_LEAST_MS) return;
  bool fits = true;
  for (uint8_t a = 0; a < AXES; a++) fits = fits && drive[a].aligned(sensor[a].usteps());
  if (!fits && alignMs < ALIGN_MOST_MS) {
    alignMs++;
    return;
  }
  for (uint8_t a = 0; a < AXES; a++) {
    drive[a].on(sensor[a].usteps());
    if (glideOwed) drive[a].setGoal(0, settings.axis[a].glideRate);
    wasRunning[a] = false;
  }
  handMs = HAND_OFF_MS;
  change(glideOwed ? GLIDING : HOLDING);
  glideOwed = false;
}

// The beep hat: a tap moves the trim a little, a hold runs it.
void nudge(uint8_t a) {
  if (hat[a].tapped()) drive[a].tap(hat[a].direction());
  if (hat[a].running()) {
    drive[a].run(hat[a].direction());
  } else if (wasRunning[a]) {
    drive[a].stop();
  }
  wasRunning[a] = hat[a].running();
}

// A hand that holds the stick back stops the glide until it lets go.
bool handOn() {
  bool on = false;
  for (uint8_t a = 0; a < AXES; a++) on = on || drive[a].handOn(sensor[a].usteps());
  handMs = on ? HAND_OFF_MS : handMs - (handMs > 0);
  return handMs > 0;
}

void decide() {
  bool good = supplyGood && sensor[PITCH].good() && sensor[ROLL].good();
  if (!forceTrim.closed()) {
    glideOwed = false;
    for (uint8_t a = 0; a < AXES; a++) sensor[a].forgive();
  }
  if (release.closed()) glideOwed = false;
  if (!good || !forceTrim.closed()) {
    change(OFF);
  } else if (release.closed()) {
    change(RELEASED);
  }
  if (good && !homed) {
    for (uint8_t a = 0; a < AXES; a++) drive[a].home();
    homed = true;
  } else if (good && forceTrim.closed() && !release.closed() && !drivesOn()) {
    engage();
  }
  bool wait = false;
  if (mode == GLIDING) {
    wait = handOn();
    if (hat[PITCH].direction() != 0 || hat[ROLL].direction() != 0) {
      for (uint8_t a = 0; a < AXES; a++) drive[a].stop();
      wait = false;
      change(HOLDING);
    } else if (drive[PITCH].atRest() && drive[ROLL].atRest()) {
      change(HOLDING);
    }
  }
  for (uint8_t a = 0; a < AXES; a++) {
    if (mode == HOLDING) nudge(a);
    drive[a].plan(wait);
  }
}

void tick() {
  if (offMs < 30000) offMs++;
  if (supplyMs < SUPPLY_STEADY_MS) {
    supplyMs++;
  } else {
    supplyGood = true;
  }
  release.tick();
  forceTrim.tick();
  for (uint8_t a = 0; a < AXES; a++) {
    sensor[a].tick();
    hat[a].tick(drivesOn());
  }
  decide();
}

void setup() {
  bool fromEeprom = loadSettings(settings);
  for (uint8_t a = 0; a < AXES; a++) {
    drive[a].begin(a, &settings.axis[a]);
    sensor[a].begin(&settings.axis[a]);
    hat[a].begin(HAT_PIN[a][0], HAT_PIN[a][1]);
  }
  release.begin(RELEASE_PIN);
  forceTrim.begin(FORCE_TRIM_PIN);
  Serial.begin(115200);
  Serial.println(fromEeprom ? F("godwit") : F("godwit, default settings"));
  lastTickUs = micros();
}

void loop() {
  for (uint8_t a = 0; a < AXES; a++) drive[a].service();
  convert();
  for (uint8_t a = 0; a < AXES; a++) {
    drive[a].service();
    if (homed && !drivesOn() && sensor[a].good()) drive[a].follow(sensor[a].usteps());
  }
  if (micros() - lastTickUs >= 1000) {
    lastTickUs += 1000;
    tick();
  }
}
