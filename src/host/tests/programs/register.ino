// register.ino: must not compile: registers, vectors and the bus exist in the image only.
void setup()
{
#ifdef WITH_REGISTER
    DDRB |= _BV(PB7);
#endif
}

#ifdef WITH_VECTOR
ISR(TIMER1_COMPA_vect) {}
#endif
#ifdef WITH_BUS
#include <SPI.h>
#endif

void loop() {}
