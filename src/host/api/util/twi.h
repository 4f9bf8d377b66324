/* util/twi.h: not in a host build. */
#error "a host build has no I2C registers; prove the image instead: --on pins:FILE"
