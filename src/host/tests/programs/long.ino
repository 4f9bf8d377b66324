// long.ino: an ordinary blink without delay(), its times in `unsigned long`, and long numbers.
volatile uint32_t fired, size;
volatile int length;
unsigned long previous;
const unsigned long interval = 10UL;

void setup()
{
    char text[40], number[12];
    long minus = -5L;
    unsigned long large = 4000000000UL;
    Serial.begin(115200);
    length = snprintf(text, sizeof text, "%ld %lu ", minus, large);
    Serial.print(text);
    Serial.print(ltoa(minus, number, 10));
    Serial.print(' ');
    Serial.print(ultoa(large, number, HEX));
    Serial.print(' ');
    Serial.print(dtostrf(12.5, 5, 2, number));
    Serial.print(' ');
    Serial.println(itoa(255, number, 10));
    size = sizeof(long);
    previous = millis();
}

void loop()
{
    unsigned long now = millis();
    if (now - previous >= interval) {
        previous = now;
        fired++;
    }
}
