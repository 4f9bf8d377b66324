// inputs.ino: a pin without and one with pull-up, levels as the program sees them.
volatile uint8_t plain, pulled;

void setup() { pinMode(23, INPUT_PULLUP); }

void loop()
{
    plain = (uint8_t)digitalRead(22);
    pulled = (uint8_t)digitalRead(23);
}
