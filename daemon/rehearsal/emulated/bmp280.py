"""An emulated BMP280: the BME280's pressure and temperature, on I2C at 0x76."""

from cabinvigil.daemon.rehearsal.emulated.bme280 import EmulatedBme280

CHIP_ID = 0x58
HUMIDITY = (0xA1, *range(0xE1, 0xE8), 0xF2, 0xFD, 0xFE)
"""What the sister has of humidity: nothing is there (data sheet 4.2, unverified)."""


class EmulatedBmp280(EmulatedBme280):
    """One part: the sister's registers, without those of humidity."""

    def power_up(self) -> None:
        """Start asleep, with nothing measured and nothing configured."""
        super().power_up()
        self._memory[0xD0] = CHIP_ID
        for register in HUMIDITY:
            self._memory[register] = 0

    def _set(self, register: int, value: int) -> None:
        if register not in HUMIDITY:
            super()._set(register, value)

    def _measure(self, control: int) -> bytes:
        return super()._measure(control)[:6] + bytes(2)
