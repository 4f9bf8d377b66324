// serial.ino: a burst longer than the buffer, then every kind of print.
volatile uint32_t short_us, burst_us, flush_us;
volatile int room_before, room_after;

void setup()
{
    Serial.begin(9600);
    room_before = Serial.availableForWrite();
    uint32_t t0 = micros();
    for (int i = 0; i < 65; i++) {
        Serial.write((uint8_t)i);
    }
    uint32_t t1 = micros();
    room_after = Serial.availableForWrite();
    for (int i = 65; i < 165; i++) {
        Serial.write((uint8_t)i);
    }
    uint32_t t2 = micros();
    Serial.flush();
    flush_us = micros() - t2;
    burst_us = t2 - t1;
    short_us = t1 - t0;
    Serial.end();
    Serial.print("lost");
    Serial.begin(115200);
    Serial.print(-12);
    Serial.print(' ');
    Serial.print(-1, HEX);
    Serial.print(' ');
    Serial.print((unsigned char)200, BIN);
    Serial.print(' ');
    Serial.print(3.14159265, 5);
    Serial.print(' ');
    Serial.print(-0.006f);
    Serial.print(' ');
    Serial.print(F("flash"));
    Serial.print(' ');
    Serial.print(4294967295UL);
    Serial.print(' ');
    Serial.println(String("a") + 1 + ',' + String(255, HEX) + String(1.5, 1));
    String s("  Hello World ");
    s.trim();
    s.replace("World", "pins");
    s.toUpperCase();
    Serial.print(s + s.indexOf("PINS") + s.substring(1, 3));
    Serial.println(Serial.available() + Serial.read());
}

void loop() { delay(1); }
