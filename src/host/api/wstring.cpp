// wstring.cpp: the API's String.
#include "Arduino.h"

#include <ctype.h>

namespace {

// Takes what print() says and puts it at the end of a String.
class Into : public Print {
public:
    explicit Into(String &s) : string(s) {}
    size_t write(uint8_t byte) override
    {
        char c = (char)byte;
        return string.concat(&c, 1) ? 1 : 0;
    }
    using Print::write;

private:
    String &string;
};

} // namespace

template <class T> void String::print_into(T n, int base_or_digits)
{
    Into into(*this);
    into.print(n, base_or_digits);
    toLowerCase(); // String(255, HEX) is "ff", Serial.print(255, HEX) "FF", as on the board
}

String::String(const char *from) { concat(from, from ? (unsigned)strlen(from) : 0); }
String::String(const char *from, unsigned int count) { concat(from, count); }
String::String(const String &from) { concat(from.c_str(), from.used); }
String::String(const __FlashStringHelper *from) : String((const char *)from) {}
String::String(char c) { concat(&c, 1); }
String::String(unsigned char n, unsigned char base) { print_into(n, base); }
String::String(int n, unsigned char base) { print_into(n, base); }
String::String(unsigned int n, unsigned char base) { print_into(n, base); }
String::String(long n, unsigned char base) { print_into(n, base); }
String::String(unsigned long n, unsigned char base) { print_into(n, base); }
String::String(float n, unsigned char digits) { print_into((double)n, digits); }
String::String(double n, unsigned char digits) { print_into(n, digits); }
String::~String() { free(text); }

String &String::operator=(const String &from)
{
    if (this != &from) {
        used = 0;
        concat(from.c_str(), from.used);
    }
    return *this;
}

String &String::operator=(const char *from)
{
    return *this = String(from);
}

bool String::reserve(unsigned int bytes)
{
    if (text && bytes <= room) {
        return true;
    }
    char *more = (char *)realloc(text, (size_t)bytes + 1);
    if (!more) {
        return false;
    }
    text = more;
    room = bytes;
    text[used] = 0;
    return true;
}

bool String::concat(const char *more, unsigned int count)
{
    if (!more || !reserve(used + count)) {
        return false;
    }
    memcpy(text + used, more, count);
    used += count;
    text[used] = 0;
    return true;
}

bool String::equalsIgnoreCase(const String &other) const
{
    String a(*this), b(other);
    a.toLowerCase();
    b.toLowerCase();
    return a.equals(b);
}

bool String::startsWith(const String &prefix, unsigned int from) const
{
    return from <= used && strncmp(c_str() + from, prefix.c_str(), prefix.used) == 0;
}

bool String::endsWith(const String &suffix) const
{
    return suffix.used <= used && startsWith(suffix, used - suffix.used);
}

void String::setCharAt(unsigned int i, char c)
{
    if (i < used) {
        text[i] = c;
    }
}

char &String::operator[](unsigned int i)
{
    static char nothing;
    nothing = 0;
    return i < used ? text[i] : nothing;
}

void String::getBytes(unsigned char *to, unsigned int size, unsigned int from) const
{
    if (!to || size == 0) {
        return;
    }
    unsigned int count = from < used ? used - from : 0;
    count = min(count, size - 1);
    memcpy(to, c_str() + (from < used ? from : 0), count);
    to[count] = 0;
}

int String::indexOf(char c, unsigned int from) const
{
    return indexOf(String(c), from);
}

int String::indexOf(const String &what, unsigned int from) const
{
    const char *at = from < used ? strstr(c_str() + from, what.c_str()) : nullptr;
    return at ? (int)(at - c_str()) : -1;
}

int String::lastIndexOf(char c) const
{
    return lastIndexOf(String(c));
}

int String::lastIndexOf(const String &what) const
{
    int last = -1;
    for (int at = indexOf(what); at >= 0; at = indexOf(what, (unsigned)at + 1)) {
        last = at;
    }
    return last;
}

String String::substring(unsigned int from, unsigned int to) const
{
    unsigned int first = min(from, to), end = min(max(from, to), used);
    return first < end ? String(c_str() + first, end - first) : String();
}

void String::replace(char find, char by)
{
    for (unsigned int i = 0; i < used; i++) {
        text[i] = text[i] == find ? by : text[i];
    }
}

void String::replace(const String &find, const String &by)
{
    if (find.used == 0) {
        return;
    }
    String result;
    unsigned int from = 0;
    for (int at = indexOf(find); at >= 0; at = indexOf(find, from)) {
        result.concat(c_str() + from, (unsigned)at - from);
        result.concat(by);
        from = (unsigned)at + find.used;
    }
    result.concat(c_str() + from, used - from);
    *this = result;
}

void String::remove(unsigned int from, unsigned int count)
{
    if (from >= used || count == 0) {
        return;
    }
    count = min(count, used - from);
    memmove(text + from, text + from + count, used - from - count + 1);
    used -= count;
}

void String::toLowerCase()
{
    for (unsigned int i = 0; i < used; i++) {
        text[i] = (char)tolower((unsigned char)text[i]);
    }
}

void String::toUpperCase()
{
    for (unsigned int i = 0; i < used; i++) {
        text[i] = (char)toupper((unsigned char)text[i]);
    }
}

void String::trim()
{
    unsigned int first = 0, end = used;
    while (first < end && isspace((unsigned char)text[first])) {
        first++;
    }
    while (end > first && isspace((unsigned char)text[end - 1])) {
        end--;
    }
    *this = String(c_str() + first, end - first);
}

long String::toInt() const { return atol(c_str()); }
float String::toFloat() const { return (float)atof(c_str()); }
double String::toDouble() const { return atof(c_str()); }
