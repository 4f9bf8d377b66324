// pwm.ino: PWM written again and again, faster than its period, and PWM ended by a digitalRead.
void setup()
{
    analogWrite(10, 100);
    delay(5);
    digitalRead(10);
}

void loop()
{
    analogWrite(9, 64);
    analogWrite(4, 64);
    delay(1);
}
