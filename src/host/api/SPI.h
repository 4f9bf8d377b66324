/* SPI.h: not in a host build. */
#error "SPI.h: a host build has no SPI; prove the image instead: --on pins:FILE"
