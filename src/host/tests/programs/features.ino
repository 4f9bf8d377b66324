// features.ino: what programs for hobby boards commonly use, in one place; prints one line each.
#include <avr/pgmspace.h>
#include <util/delay.h>

struct Point : public Printable {
    int x = 3;
    static const int limit = 7; // no definition: println() must take it by value
    size_t printTo(Print &to) const override { return to.print(x) + to.print('p'); }
};
enum Mode { idle, busy };
const char name[] PROGMEM = "name";
const uint16_t table[] PROGMEM = {1, 500, 60000};
unsigned long later(unsigned long from); // a prototype that the harness would put in front

void setup()
{
    Point point;
    const Printable &printable = point;
    boolean flag = true;
    byte mask = B1010 | bit(0);
    word pair = word(0x12, 0x34);
    volatile int16_t level = -7;
    Serial.begin(250000);
    Serial.println(Point::limit);
    Serial.println(printable);
    Serial.println(point);
    Serial.println(busy);
    Serial.println(flag);
    Serial.println(mask, BIN);
    Serial.println(pair, HEX);
    Serial.println(level);
    Serial.println(0.1f + 0.2f, 6);
    Serial.println(1e10);
    Serial.println(NAN);
    Serial.println((const __FlashStringHelper *)name);
    Serial.println(pgm_read_word(&table[2]));
    Serial.println(map(512, 0, 1023, -100, 100));
    Serial.println(constrain(-5, 0, 10) + max(1, 2) + min(3, 4) + abs(-5) + sq(3));
    Serial.println(lowByte(pair) + highByte(pair) + bitRead(mask, 3));
    Serial.println(round(-2.5));
    Serial.println(String("n=") + 5 + " u=" + 3000000000UL + " f=" + 2.5 + " c=" + 'x');
    Serial.println(String(F("a,b,c")).indexOf(',', 2));
    Serial.println(String("12.5kg").toFloat() + String("7").toInt());
    Serial.println(String("abc") < "abd" && String("x") == "x" && "y" != String("x"));
    Serial.println(isDigit('5') + isSpace('x'));
    randomSeed(1);
    Serial.println(random(100000));
    Serial.println(Serial.parseInt());
    Serial.write("raw\n", 4);
    _delay_us(10.5);
    Serial.println(later(5));
    Serial.flush();
}

unsigned long later(unsigned long from)
{
    return from - 10UL;
}

void loop() { yield(); }
