/* avr/boot.h: not in a host build. */
#error "a host build has no boot loader section; it needs a run of the image at its pins, which is not there yet"
