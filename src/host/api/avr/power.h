/* avr/power.h: not in a host build. */
#error "a host build has no power reduction; prove the image instead: --on pins:FILE"
