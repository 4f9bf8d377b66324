/* Joystick.h: not in a host build. */
#error "a host build has no USB game controller; prove the image instead: --on pins:FILE"
