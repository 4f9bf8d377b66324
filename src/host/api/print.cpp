// print.cpp: text of numbers, and the serial ports.
#include "Arduino.h"

#include "core.h"

size_t Print::write(const uint8_t *bytes, size_t count)
{
    size_t done = 0;
    while (done < count && write(bytes[done])) {
        done++;
    }
    return done;
}

size_t Print::print(const String &text)
{
    return write(text.c_str(), text.length());
}

size_t Print::print(unsigned long long n, int base)
{
    char text[65];
    char *at = text + sizeof text - 1;
    unsigned b = base < 2 || base > 36 ? 10u : (unsigned)base;
    if (base == 0) {
        return write((uint8_t)n);
    }
    *at = 0;
    do {
        unsigned digit = (unsigned)(n % b);
        *--at = (char)(digit < 10 ? '0' + digit : 'A' + digit - 10);
        n /= b;
    } while (n);
    return write(at);
}

// A minus sign only in decimal; other bases show the two's complement, which has 32 bits on the
// chip for every type up to `long`.
size_t Print::print(long long n, int base)
{
    if (base == DEC && n < 0) {
        size_t sign = write((uint8_t)'-');
        return sign + print(0 - (unsigned long long)n, base);
    }
    if (n < 0 && n >= INT32_MIN) {
        return print((unsigned long long)(uint32_t)n, base);
    }
    return print((unsigned long long)n, base);
}

// In float throughout, which is what `double` is on the chip: the same digits.
size_t Print::print(double number, int digits)
{
    float n = (float)number;
    float rounding = 0.5f;
    size_t count = 0;
    if (n != n) {
        return write("nan");
    }
    if (n > 3.4028235e38f || n < -3.4028235e38f) {
        return write("inf");
    }
    if (n > 4294967040.0f || n < -4294967040.0f) {
        return write("ovf");
    }
    if (n < 0) {
        count += write((uint8_t)'-');
        n = -n;
    }
    for (int i = 0; i < digits; i++) {
        rounding /= 10.0f;
    }
    n += rounding;
    uint32_t whole = (uint32_t)n;
    float rest = n - (float)whole;
    count += print(whole);
    if (digits > 0) {
        count += write((uint8_t)'.');
    }
    for (int i = 0; i < digits; i++) {
        rest *= 10.0f;
        unsigned digit = (unsigned)rest;
        count += print(digit);
        rest -= (float)digit;
    }
    return count;
}

#if defined(TP_CHIP_ATMEGA32U4)
HardwareSerial Serial TP_PORT_EXISTS_EARLY(8);
#else
HardwareSerial Serial TP_PORT_EXISTS_EARLY(0);
#endif
#if defined(TP_CHIP_ATMEGA2560) || defined(TP_CHIP_ATMEGA32U4)
HardwareSerial Serial1 TP_PORT_EXISTS_EARLY(1);
#endif
#if defined(TP_CHIP_ATMEGA2560)
HardwareSerial Serial2 TP_PORT_EXISTS_EARLY(2);
HardwareSerial Serial3 TP_PORT_EXISTS_EARLY(3);
#endif

size_t HardwareSerial::write(uint8_t byte)
{
    tpc_serial_put(port, byte, port == 8 ? TP_COST_USB_BYTE : TP_COST_SERIAL_BYTE);
    return 1;
}

int HardwareSerial::available()
{
    tpc_spend(TP_COST_SERIAL_POLL);
    return 0;
}

int HardwareSerial::read()
{
    tpc_spend(TP_COST_SERIAL_POLL);
    return -1;
}

String Stream::readString()
{
    wait();
    return String();
}

String Stream::readStringUntil(char)
{
    wait();
    return String();
}
