// mixed.ino: a bit of everything, for the proof that the steps do not change the run.
volatile uint32_t edges;

void on_edge() { edges++; }

void setup()
{
    Serial.begin(57600);
    pinMode(13, OUTPUT);
    attachInterrupt(digitalPinToInterrupt(2), on_edge, CHANGE);
    tone(8, 700);
    randomSeed(7);
}

void loop()
{
    digitalWrite(13, analogRead(A0) > 500);
    Serial.println(edges * 1000 + (uint32_t)random(1000));
    if (digitalRead(2)) {
        delayMicroseconds(333);
    } else {
        delay(2);
    }
}
