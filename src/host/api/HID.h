/* HID.h: not in a host build. */
#error "a host build has no USB HID; prove the image instead: --on pins:FILE"
