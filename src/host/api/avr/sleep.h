/* avr/sleep.h: not in a host build. */
#error "avr/sleep.h: a host build has no sleep modes; prove the image instead: --on pins:FILE"
