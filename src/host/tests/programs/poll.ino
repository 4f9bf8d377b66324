// poll.ino: polls the clock as fast as it can: what a virtual second costs at most.
volatile uint32_t polls;

void setup() {}

void loop()
{
    uint32_t start = micros();
    while (micros() - start < 100000) {
        polls++;
    }
}
