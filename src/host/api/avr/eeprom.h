/* avr/eeprom.h: the EEPROM by address. EEMEM variables exist in the image only. */
#ifndef TRIMPROOF_AVR_EEPROM_H
#define TRIMPROOF_AVR_EEPROM_H

#include "trimproof_pins.h"

#include <string.h>

#define EEMEM \
    _Pragma("GCC error \"a host build has no EEMEM; it needs a run of the image at its pins, which is not there yet\"")
#define eeprom_is_ready() 1
#define eeprom_busy_wait() ((void)0)

static inline void eeprom_read_block(void *to, const void *from, size_t count)
{
    size_t i;
    for (i = 0; i < count; i++) {
        ((uint8_t *)to)[i] = tp_eeprom_read((uint32_t)(uintptr_t)from + (uint32_t)i);
    }
}

static inline void eeprom_write_block(const void *from, void *to, size_t count)
{
    size_t i;
    for (i = 0; i < count; i++) {
        tp_eeprom_write((uint32_t)(uintptr_t)to + (uint32_t)i, ((const uint8_t *)from)[i]);
    }
}

static inline void eeprom_update_block(const void *from, void *to, size_t count)
{
    size_t i;
    for (i = 0; i < count; i++) {
        uint32_t address = (uint32_t)(uintptr_t)to + (uint32_t)i;
        uint8_t byte = ((const uint8_t *)from)[i];
        if (tp_eeprom_read(address) != byte) {
            tp_eeprom_write(address, byte);
        }
    }
}

#define TP_EEPROM_TYPE(name, type) \
    static inline type eeprom_read_##name(const type *at) \
    { \
        type value; \
        eeprom_read_block(&value, at, sizeof value); \
        return value; \
    } \
    static inline void eeprom_write_##name(type *at, type value) \
    { \
        eeprom_write_block(&value, at, sizeof value); \
    } \
    static inline void eeprom_update_##name(type *at, type value) \
    { \
        eeprom_update_block(&value, at, sizeof value); \
    }

TP_EEPROM_TYPE(byte, uint8_t)
TP_EEPROM_TYPE(word, uint16_t)
TP_EEPROM_TYPE(dword, uint32_t)
TP_EEPROM_TYPE(float, float)

#endif
