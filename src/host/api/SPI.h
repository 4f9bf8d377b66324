/* SPI.h: not in a host build. */
#error "a host build has no SPI; prove the image instead: --on pins:FILE"
