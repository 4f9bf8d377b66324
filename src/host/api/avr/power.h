/* avr/power.h: not in a host build. */
#error "avr/power.h: a host build has no power reduction; prove the image instead: --on pins:FILE"
