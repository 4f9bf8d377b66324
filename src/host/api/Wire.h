/* Wire.h: not in a host build. */
#error "a host build has no I2C (Wire); prove the image instead: --on pins:FILE"
