/* Stepper.h: not in a host build. */
#error "a host build has no Stepper; prove the image instead: --on pins:FILE"
