// overflow.ino: writes beyond an array: seen with the sanitizers.
volatile int n = 8;
char small[8];

void setup() { delay(5); }

void loop()
{
    small[n] = 1;
    delay(1);
}
