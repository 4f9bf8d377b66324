// print.ino: the program's own stdio must not disturb the pipe.
#include <stdio.h>
#include <unistd.h>

struct Early {
    Early() { printf("from a constructor\n"); }
} early;
volatile int from_stdin;

void setup()
{
    printf("hello\n");
    from_stdin = getchar();
    if (write(1, "raw\n", 4) != 4) {
        abort();
    }
}

void loop() { delay(1); }
