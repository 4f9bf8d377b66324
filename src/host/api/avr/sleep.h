/* avr/sleep.h: not in a host build. */
#error "a host build has no sleep modes; it needs a run of the image at its pins, which is not there yet"
