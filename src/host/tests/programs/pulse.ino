// pulse.ino: the length of a pulse, the time-out without one, and bits shifted out and in.
volatile uint32_t pulse_us, none_us;
volatile uint8_t shifted;

void setup()
{
    pinMode(5, OUTPUT);
    pinMode(6, OUTPUT);
    pulse_us = pulseIn(22, HIGH);
    none_us = pulseIn(22, HIGH, 2000);
    shiftOut(5, 6, MSBFIRST, 0xA5);
    shifted = shiftIn(22, 6, LSBFIRST);
}

void loop() { delay(1); }
