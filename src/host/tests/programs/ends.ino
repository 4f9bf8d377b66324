// ends.ino: ways in which a program ends; `how` comes from the EEPROM.
#include <EEPROM.h>

volatile int zero;
int *volatile nowhere;
volatile int sink;

__attribute__((noinline)) int deeper(int n)
{
    volatile char room[4096];
    room[0] = (char)n;
    return n == -1 ? 0 : deeper(n + 1) + room[0];
}

void setup() {}

void loop()
{
    delay(2);
    switch (EEPROM.read(0)) {
    case 1: exit(0); break;
    case 2: *nowhere = 1; break;
    case 3: sink = 1000 / zero; break;
    case 4: abort(); break;
    case 5: __builtin_trap(); break;
    case 6: sink = deeper(0); break;
    case 7: for (;;) { sink = sink + 1; } break;
    case 8: for (;;) { nowhere = (int *)(new char[1 << 20]); } break;
    case 9: for (;;) { memset(malloc(1 << 20), 1, 1 << 20); } break;
    case 10: for (int i = 0; i < 300000; i++) { digitalWrite(2, i & 1); } break;
    case 11: noInterrupts(); delay(5); break;
    case 12: digitalWrite(99, HIGH); break;
    case 13: throw 1;
    }
}
