/* avr/sleep.h: not in a host build. */
#error "a host build has no sleep modes; prove the image instead: --on pins:FILE"
