/* Servo.h: not in a host build. */
#error "a host build has no Servo; prove the image instead: --on pins:FILE"
