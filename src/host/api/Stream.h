// Stream.h: reading. The pin pipe carries no bytes to the chip, so every read waits its time and
// finds nothing.
#ifndef TRIMPROOF_STREAM_H
#define TRIMPROOF_STREAM_H

#include "Print.h"
#include "trimproof_pins.h"

class Stream : public Print {
public:
    virtual int available() = 0;
    virtual int read() = 0;
    virtual int peek() = 0;

    void setTimeout(uint32_t ms) { timeout_ms = ms; }
    uint32_t getTimeout() { return timeout_ms; }
    bool find(const char *) { return wait(), false; }
    bool findUntil(const char *, const char *) { return wait(), false; }
    long parseInt() { return wait(), 0; }
    float parseFloat() { return wait(), 0; }
    size_t readBytes(char *, size_t) { return wait(), 0; }
    size_t readBytes(uint8_t *, size_t) { return wait(), 0; }
    size_t readBytesUntil(char, char *, size_t) { return wait(), 0; }
    size_t readBytesUntil(char, uint8_t *, size_t) { return wait(), 0; }
    String readString();
    String readStringUntil(char);

protected:
    void wait() { tp_wait_ns((uint64_t)timeout_ms * 1000000u); }

private:
    uint32_t timeout_ms = 1000;
};

#endif
