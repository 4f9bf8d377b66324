// empty.ino: a loop that calls nothing still takes its time.
void setup() {}

void loop() {}
