// WString.h: the API's String: text on the heap.
#ifndef TRIMPROOF_WSTRING_H
#define TRIMPROOF_WSTRING_H

#include "Print.h"

class String {
public:
    String(const char *from = "");
    String(const char *from, unsigned int count);
    String(const String &from);
    String(const __FlashStringHelper *from);
    explicit String(char c);
    explicit String(unsigned char n, unsigned char base = DEC);
    explicit String(int n, unsigned char base = DEC);
    explicit String(unsigned int n, unsigned char base = DEC);
    explicit String(long n, unsigned char base = DEC);
    explicit String(unsigned long n, unsigned char base = DEC);
    explicit String(float n, unsigned char digits = 2);
    explicit String(double n, unsigned char digits = 2);
    ~String();
    String &operator=(const String &from);
    String &operator=(const char *from);

    bool reserve(unsigned int bytes);
    unsigned int length() const { return used; }
    bool isEmpty() const { return used == 0; }
    const char *c_str() const { return text ? text : ""; }
    const char *begin() const { return c_str(); }
    const char *end() const { return c_str() + used; }

    bool concat(const char *more, unsigned int count);
    bool concat(const String &more) { return concat(more.c_str(), more.used); }
    template <class T> bool concat(const T &more) { return concat(String(more)); }
    template <class T> String &operator+=(const T &more)
    {
        concat(String(more));
        return *this;
    }

    int compareTo(const String &other) const { return strcmp(c_str(), other.c_str()); }
    bool equals(const String &other) const { return compareTo(other) == 0; }
    bool equalsIgnoreCase(const String &other) const;
    bool startsWith(const String &prefix, unsigned int from = 0) const;
    bool endsWith(const String &suffix) const;

    char charAt(unsigned int i) const { return i < used ? text[i] : 0; }
    void setCharAt(unsigned int i, char c);
    char operator[](unsigned int i) const { return charAt(i); }
    char &operator[](unsigned int i);
    void getBytes(unsigned char *to, unsigned int size, unsigned int from = 0) const;
    void toCharArray(char *to, unsigned int size, unsigned int from = 0) const
    {
        getBytes((unsigned char *)to, size, from);
    }

    int indexOf(char c, unsigned int from = 0) const;
    int indexOf(const String &what, unsigned int from = 0) const;
    int lastIndexOf(char c) const;
    int lastIndexOf(const String &what) const;
    String substring(unsigned int from, unsigned int to = ~0u) const;

    void replace(char find, char by);
    void replace(const String &find, const String &by);
    void remove(unsigned int from, unsigned int count = ~0u);
    void toLowerCase();
    void toUpperCase();
    void trim();
    long toInt() const;
    float toFloat() const;
    double toDouble() const;

private:
    char *text = nullptr;
    unsigned int used = 0, room = 0;
    template <class T> void print_into(T n, int base_or_digits);
};

template <class T> String operator+(const String &a, const T &b)
{
    String sum(a);
    sum += b;
    return sum;
}
inline String operator+(const char *a, const String &b)
{
    String sum(a);
    sum += b;
    return sum;
}
inline bool operator==(const String &a, const String &b) { return a.equals(b); }
inline bool operator!=(const String &a, const String &b) { return !a.equals(b); }
inline bool operator<(const String &a, const String &b) { return a.compareTo(b) < 0; }
inline bool operator>(const String &a, const String &b) { return a.compareTo(b) > 0; }
inline bool operator<=(const String &a, const String &b) { return a.compareTo(b) <= 0; }
inline bool operator>=(const String &a, const String &b) { return a.compareTo(b) >= 0; }

typedef String StringSumHelper;

#endif
