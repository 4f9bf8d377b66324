/* Keyboard.h: not in a host build. */
#error "a host build has no USB keyboard; prove the image instead: --on pins:FILE"
