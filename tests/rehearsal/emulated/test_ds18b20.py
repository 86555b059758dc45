"""The emulated DS18B20: its checksum, the kernel's text, its value without power."""

import pytest

from cabinvigil.daemon.rehearsal.emulated import ds18b20
from cabinvigil.daemon.rehearsal.emulated.ds18b20 import EmulatedDs18b20
from tests.rehearsal.emulated.world import World


@pytest.mark.parametrize(
    "pad",
    [
        "50 05 4b 46 7f ff 0c 10 1c",  # library pamoja-sensors 0.2.0, 85.0 C
        "91 01 4b 46 7f ff 0c 10 70",  # 25.0625 C
        "5e ff 4b 46 7f ff 0c 10 6a",  # -10.125 C
        "90 fc 4b 46 7f ff 0c 10 4f",  # -55.0 C
    ],
)
def test_the_wire_check_is_the_published_one(pad: str) -> None:
    """The CRC of the 1-wire scratchpad (sensor notes, vectors ds18b20)."""
    data = bytes.fromhex(pad)
    assert ds18b20.check_byte(data[:8]) == data[8]


def test_the_kernels_text_is_spelled_as_the_kernel_does() -> None:
    """Both texts of the vectors, good and with a failed check, come out alike."""
    good = bytes.fromhex("91 01 4b 46 7f ff 0c 10 70")
    assert ds18b20.w1_text(good) == (
        b"91 01 4b 46 7f ff 0c 10 70 : crc=70 YES\n91 01 4b 46 7f ff 0c 10 70 t=25062\n"
    )
    bad = ds18b20.w1_text(b"\xff" * 9)
    assert bad == (
        b"ff ff ff ff ff ff ff ff ff : crc=c9 NO\nff ff ff ff ff ff ff ff ff t=-62\n"
    )


def test_a_starved_ds18b20_gives_its_power_on_value() -> None:
    """85.0 C with a good check, as parasitic power gives it."""
    part = World(glass_c=3.0).make(EmulatedDs18b20)
    assert b"t=3" in part.text()
    part.is_starved = True
    assert part.text().endswith(b"50 05 4b 46 7f ff 0c 10 1c t=85000\n")
