// rollover.ino: the clock across its roll-over, with differences in 32 bits.
volatile uint32_t start_us, now_us, start_ms, now_ms, passed_us;

void setup()
{
    start_us = micros();
    start_ms = millis();
}

void loop()
{
    now_us = micros();
    now_ms = millis();
    passed_us = now_us - start_us;
}
