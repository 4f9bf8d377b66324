// eeprom.ino: fills, writes, how long they block, and update.
#include <EEPROM.h>
#include <avr/eeprom.h>

volatile uint8_t filled, empty, again;
volatile uint32_t first_us, second_us, length;
volatile uint16_t value;

void setup()
{
    filled = EEPROM.read(10);
    empty = EEPROM[11];
    uint32_t t0 = micros();
    EEPROM.write(20, 0xAB);
    uint32_t t1 = micros();
    EEPROM.update(20, 0xAB);
    EEPROM[21] = 0xCD;
    uint32_t t2 = micros();
    first_us = t1 - t0;
    second_us = t2 - t1;
    again = EEPROM.read(20);
    length = EEPROM.length();
    EEPROM.put(30, (uint16_t)0x1234);
    uint16_t back;
    EEPROM.get(30, back);
    value = back;
    eeprom_update_byte((uint8_t *)20, 0xAB);
    eeprom_write_byte((uint8_t *)4095, 7);
}

void loop() { delay(1); }
