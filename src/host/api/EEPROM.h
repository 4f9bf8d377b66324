// EEPROM.h: the chip's EEPROM, byte by byte or whole objects.
#ifndef TRIMPROOF_EEPROM_H
#define TRIMPROOF_EEPROM_H

#include "Arduino.h"

// One cell: reads as a byte, is written by an assignment.
class EERef {
public:
    explicit EERef(int address) : index(address) {}
    operator uint8_t() const { return tp_eeprom_read((uint32_t)index); }
    EERef &operator=(uint8_t byte)
    {
        tp_eeprom_write((uint32_t)index, byte);
        return *this;
    }
    EERef &operator=(const EERef &from) { return *this = (uint8_t)from; }
    EERef &update(uint8_t byte) { return byte == (uint8_t)*this ? *this : *this = byte; }
    EERef &operator+=(uint8_t n) { return *this = (uint8_t)(*this + n); }
    EERef &operator-=(uint8_t n) { return *this = (uint8_t)(*this - n); }
    EERef &operator|=(uint8_t n) { return *this = (uint8_t)(*this | n); }
    EERef &operator&=(uint8_t n) { return *this = (uint8_t)(*this & n); }
    EERef &operator^=(uint8_t n) { return *this = (uint8_t)(*this ^ n); }
    EERef &operator++() { return *this += 1; }
    EERef &operator--() { return *this -= 1; }

private:
    int index;
};

class EEPROMClass {
public:
    uint8_t read(int address) { return tp_eeprom_read((uint32_t)address); }
    void write(int address, uint8_t byte) { tp_eeprom_write((uint32_t)address, byte); }
    void update(int address, uint8_t byte) { EERef(address).update(byte); }
    uint16_t length() { return E2END + 1; }
    EERef operator[](int address) { return EERef(address); }

    // Whole objects, byte by byte. Their size may differ from the chip's: an `int` has 4 bytes
    // here and 2 there, so keep objects of fixed width in the EEPROM.
    template <class T> T &get(int address, T &to)
    {
        uint8_t *byte = (uint8_t *)&to;
        for (size_t i = 0; i < sizeof to; i++) {
            byte[i] = read(address + (int)i);
        }
        return to;
    }
    template <class T> const T &put(int address, const T &from)
    {
        const uint8_t *byte = (const uint8_t *)&from;
        for (size_t i = 0; i < sizeof from; i++) {
            update(address + (int)i, byte[i]);
        }
        return from;
    }
};

static EEPROMClass EEPROM __attribute__((unused));

#endif
