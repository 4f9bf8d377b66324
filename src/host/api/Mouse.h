/* Mouse.h: not in a host build. */
#error "a host build has no USB mouse; prove the image instead: --on pins:FILE"
