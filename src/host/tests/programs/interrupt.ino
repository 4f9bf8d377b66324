// interrupt.ino: handlers at the instant of the change, also inside a delay, and the flag.
volatile uint32_t rises, changes, lows, last_rise_us, delay_us;
volatile uint8_t hold;

void on_rise()
{
    rises++;
    last_rise_us = micros();
    digitalWrite(8, !digitalRead(8));
}

void on_change() { changes++; }

void on_low() { lows++; }

void setup()
{
    pinMode(8, OUTPUT);
    pinMode(18, INPUT_PULLUP);
    attachInterrupt(digitalPinToInterrupt(2), on_rise, RISING);
    attachInterrupt(digitalPinToInterrupt(3), on_change, CHANGE);
    attachInterrupt(digitalPinToInterrupt(18), on_low, LOW);
    uint32_t t0 = micros();
    delay(10);
    delay_us = micros() - t0;
    noInterrupts();
    delayMicroseconds(10000);
    interrupts();
}

void loop() { delayMicroseconds(100); }
