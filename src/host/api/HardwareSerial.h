// HardwareSerial.h: the chip's serial ports. They send; nothing is ever received.
#ifndef TRIMPROOF_HARDWARE_SERIAL_H
#define TRIMPROOF_HARDWARE_SERIAL_H

#include "Stream.h"
#include "board.h"

#define SERIAL_8N1 0x06
#define SERIAL_TX_BUFFER_SIZE 64
#define SERIAL_RX_BUFFER_SIZE 64

class HardwareSerial : public Stream {
public:
    explicit HardwareSerial(uint8_t number) : port(number) {}
    // Frames are 8N1 whatever the second argument says.
    void begin(uint32_t baud, uint8_t = SERIAL_8N1) { tp_serial_begin(port, baud); }
    void end()
    {
        tp_serial_flush(port);
        tp_serial_begin(port, 0);
    }
    int available() override;
    int read() override;
    int peek() override { return read(); }
    int availableForWrite() override { return tp_serial_room(port); }
    void flush() override { tp_serial_flush(port); }
    size_t write(uint8_t byte) override;
    size_t write(int n) { return write((uint8_t)n); }
    size_t write(unsigned int n) { return write((uint8_t)n); }
    size_t write(long n) { return write((uint8_t)n); }
    size_t write(unsigned long n) { return write((uint8_t)n); }
    using Print::write;
    operator bool() { return true; }
    bool dtr() { return true; }

private:
    uint8_t port;
};

// An object of the program may print in its constructor, so a port must exist before it.
#define TP_PORT_EXISTS_EARLY __attribute__((init_priority(102)))

extern HardwareSerial Serial;
#if defined(TP_CHIP_ATMEGA2560) || defined(TP_CHIP_ATMEGA32U4)
extern HardwareSerial Serial1;
#endif
#if defined(TP_CHIP_ATMEGA2560)
extern HardwareSerial Serial2;
extern HardwareSerial Serial3;
#endif
#if defined(TP_CHIP_ATMEGA32U4)
typedef HardwareSerial Serial_;
#endif

#endif
