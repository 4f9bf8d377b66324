/* avr/pgmspace.h: constants in flash: here they lie in memory like all others. */
#ifndef TRIMPROOF_AVR_PGMSPACE_H
#define TRIMPROOF_AVR_PGMSPACE_H

#include <stdint.h>
#include <stdio.h>
#include <string.h>

#define PROGMEM
#define PGM_P const char *
#define PGM_VOID_P const void *
#define PSTR(text) (text)

typedef const char prog_char;

#define TP_PGM_READ(type, at) (*(const type *)(const void *)(at))
#define pgm_read_byte(at) TP_PGM_READ(uint8_t, at)
#define pgm_read_word(at) TP_PGM_READ(uint16_t, at)
#define pgm_read_dword(at) TP_PGM_READ(uint32_t, at)
#define pgm_read_float(at) TP_PGM_READ(float, at)
#define pgm_read_ptr(at) (*(void *const *)(const void *)(at))
#define pgm_read_byte_near(at) pgm_read_byte(at)
#define pgm_read_word_near(at) pgm_read_word(at)
#define pgm_read_dword_near(at) pgm_read_dword(at)
#define pgm_read_float_near(at) pgm_read_float(at)
#define pgm_read_byte_far(at) pgm_read_byte(at)
#define pgm_read_word_far(at) pgm_read_word(at)

#define memcpy_P memcpy
#define memcmp_P memcmp
#define strlen_P strlen
#define strcpy_P strcpy
#define strncpy_P strncpy
#define strcat_P strcat
#define strncat_P strncat
#define strcmp_P strcmp
#define strncmp_P strncmp
#define strcasecmp_P strcasecmp
#define strchr_P strchr
#define strstr_P strstr
#define printf_P printf
#define sprintf_P sprintf
#define snprintf_P snprintf
#define vsnprintf_P vsnprintf

#endif
