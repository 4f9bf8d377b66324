/* Mouse.h: not in a host build. */
#error "Mouse.h: a host build has no USB mouse; prove the image instead: --on pins:FILE"
