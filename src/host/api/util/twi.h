/* util/twi.h: not in a host build. */
#error "a host build has no I2C registers; it needs a run of the image at its pins, which is not there yet"
