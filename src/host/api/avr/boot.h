/* avr/boot.h: not in a host build. */
#error "a host build has no boot loader section; prove the image instead: --on pins:FILE"
