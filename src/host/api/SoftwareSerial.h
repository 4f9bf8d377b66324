/* SoftwareSerial.h: not in a host build. */
#error "a host build has no SoftwareSerial; prove the image instead: --on pins:FILE"
