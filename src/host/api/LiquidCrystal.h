/* LiquidCrystal.h: not in a host build. */
#error "a host build has no LiquidCrystal; prove the image instead: --on pins:FILE"
