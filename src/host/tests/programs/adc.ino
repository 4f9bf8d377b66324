// adc.ino: conversions, how long they take and what they see.
volatile uint16_t first_code, code;
volatile uint32_t first_us, next_us, reads;

void setup()
{
    uint32_t t0 = micros();
    first_code = (uint16_t)analogRead(A3);
    uint32_t t1 = micros();
    analogRead(3);
    next_us = micros() - t1;
    first_us = t1 - t0;
}

void loop()
{
    code = (uint16_t)analogRead(A3);
    reads++;
}
