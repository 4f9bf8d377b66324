// Print.h: text of numbers and strings to anything that takes bytes.
#ifndef TRIMPROOF_PRINT_H
#define TRIMPROOF_PRINT_H

#include <stddef.h>
#include <stdint.h>
#include <string.h>

#define BIN 2
#define OCT 8
#define DEC 10
#define HEX 16

class __FlashStringHelper;
class String;
class Print;

#ifndef F
#define F(text) (reinterpret_cast<const __FlashStringHelper *>(text))
#endif

class Printable {
public:
    virtual size_t printTo(Print &to) const = 0;

protected:
    ~Printable() {}
};

class Print {
public:
    virtual size_t write(uint8_t byte) = 0;
    virtual size_t write(const uint8_t *bytes, size_t count);
    virtual int availableForWrite() { return 0; }
    virtual void flush() {}
    size_t write(const char *text) { return text ? write(text, strlen(text)) : 0; }
    size_t write(const char *text, size_t count) { return write((const uint8_t *)text, count); }

    int getWriteError() { return error; }
    void clearWriteError() { error = 0; }

    size_t print(const __FlashStringHelper *text) { return write((const char *)text); }
    size_t print(const String &text);
    size_t print(const char *text) { return write(text); }
    size_t print(char c) { return write((uint8_t)c); }
    size_t print(unsigned char n, int base = DEC) { return print((unsigned long long)n, base); }
    size_t print(int n, int base = DEC) { return print((long long)n, base); }
    size_t print(unsigned int n, int base = DEC) { return print((unsigned long long)n, base); }
    size_t print(long n, int base = DEC) { return print((long long)n, base); }
    size_t print(unsigned long n, int base = DEC) { return print((unsigned long long)n, base); }
    size_t print(long long n, int base = DEC);
    size_t print(unsigned long long n, int base = DEC);
    size_t print(double n, int digits = 2);
    size_t print(const Printable &thing) { return thing.printTo(*this); }

    size_t println() { return write("\r\n"); }
    size_t println(const Printable &thing)
    {
        size_t count = print(thing);
        return count + println();
    }
    // By value: a constant member of a class then needs no definition.
    template <class T> size_t println(T what)
    {
        size_t count = print(what);
        return count + println();
    }
    template <class T> size_t println(T what, int base_or_digits)
    {
        size_t count = print(what, base_or_digits);
        return count + println();
    }

protected:
    void setWriteError(int e = 1) { error = e; }

private:
    int error = 0;
};

#endif
