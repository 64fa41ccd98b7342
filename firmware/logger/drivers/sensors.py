"""Battery and chip temperature, in whole numbers; allocates nothing on boards whose converters give counts.

Sources: RP2040 data sheet, "Temperature Sensor": 27 degC at 706 mV, -1.721 mV per degree. The full scale of
the rp2's ADC is taken as 3300 mV, its supply, which is within some percent; read_uv of an ESP32 is calibrated, and
its ADC reads 100 to 950 mV unless told to attenuate, then 150 to 2450 mV (MicroPython, ESP32 quick reference).
"""


class Battery:
    """A divider on an ADC pin: voltage = that of the pin times `permille` / 1000."""

    def __init__(self, adc, permille: int) -> None:  # type: ignore[no-untyped-def]
        self._adc = adc
        self._permille = permille
        self._in_microvolts = hasattr(adc, "read_uv")
        if hasattr(adc, "atten"):
            adc.atten(adc.ATTN_11DB)

    def millivolts(self) -> int:
        """Voltage of the battery now."""
        adc = self._adc
        pin = adc.read_uv() // 1000 if self._in_microvolts else adc.read_u16() * 3300 // 65535
        return int(pin * self._permille // 1000)


def rp2_temperature_cdeg(raw: int) -> int:
    """Hundredths of a degree from a 16-bit reading of the chip's sensor."""
    microvolts = raw * 12890 // 256
    return 2700 - (microvolts - 706000) * 100 // 1721


def fahrenheit_to_cdeg(fahrenheit: int) -> int:
    """Hundredths of a degree from the ESP32's raw_temperature."""
    return (fahrenheit - 32) * 500 // 9
