// blink.ino: one output, half a second on, half a second off.
void setup() { pinMode(LED_BUILTIN, OUTPUT); }

void loop()
{
    digitalWrite(LED_BUILTIN, HIGH);
    delay(500);
    digitalWrite(LED_BUILTIN, LOW);
    delay(500);
}
