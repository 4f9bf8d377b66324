// usb.ino: the USB port of the 32U4 and its USART.
void setup()
{
    while (!Serial) {
    }
    Serial.begin(9600);
    Serial1.begin(9600);
    Serial.print('u');
    Serial1.print('s');
    pinMode(LED_BUILTIN, OUTPUT);
    digitalWrite(LED_BUILTIN, analogRead(A0) > 511);
}

void loop() { delay(1); }
