// tone.ino: a tone of 1 kHz for 20 ms, and a quarter of full PWM on a pin at 490 and one at 977 Hz.
void setup()
{
    tone(8, 1000, 20);
    analogWrite(9, 64);
    analogWrite(4, 63);
    analogWrite(10, 255);
    delay(50);
    digitalWrite(9, LOW);
    noTone(8);
}

void loop() { delay(1); }
