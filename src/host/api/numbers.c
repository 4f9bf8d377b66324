/* numbers.c: numbers to text, as the chip's C library has it beyond the standard. */
#include "Arduino.h"

char *ultoa(uint32_t value, char *to, int base)
{
    char digits[33];
    int count = 0, i;
    if (base < 2 || base > 36) {
        *to = 0;
        return to;
    }
    do {
        digits[count++] = "0123456789abcdefghijklmnopqrstuvwxyz"[value % (uint32_t)base];
        value /= (uint32_t)base;
    } while (value);
    for (i = 0; i < count; i++) {
        to[i] = digits[count - 1 - i];
    }
    to[count] = 0;
    return to;
}

char *ltoa(int32_t value, char *to, int base)
{
    if (base == 10 && value < 0) {
        *to = '-';
        ultoa(0 - (uint32_t)value, to + 1, base);
        return to;
    }
    return ultoa((uint32_t)value, to, base);
}

char *utoa(unsigned int value, char *to, int base)
{
    return ultoa(value, to, base);
}

/* An int has 16 bits on the chip: a negative number in another base than 10 shows them. */
char *itoa(int value, char *to, int base)
{
    if (base != 10 && value < 0 && value >= INT16_MIN) {
        return ultoa((uint16_t)value, to, base);
    }
    return ltoa(value, to, base);
}

/* In float, which is what `double` is on the chip. */
char *dtostrf(double value, signed char width, unsigned char digits, char *to)
{
    sprintf(to, "%*.*f", width, digits, (double)(float)value);
    return to;
}
