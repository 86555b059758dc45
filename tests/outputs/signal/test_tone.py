"""The waking tone through a stand-in for the kernel's PWM files."""

from pathlib import Path

import pytest

from cabinvigil.daemon.outputs.signal.gpio import LineCheck, LineError
from cabinvigil.daemon.outputs.signal.tone import (
    WAKING_TONE_HZ,
    is_tone_name,
    open_tone,
)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    channel = tmp_path / "pwmchip0" / "pwm0"
    channel.mkdir(parents=True)
    for name in ("duty_cycle", "period", "enable"):
        (channel / name).write_text("0\n")
    return tmp_path


def read(root: Path, name: str) -> int:
    return int((root / "pwmchip0" / "pwm0" / name).read_text())


def test_520_hz_square_is_what_the_kernel_is_asked_for(root: Path) -> None:
    """520 Hz wakes best (check_values sound_520hz): period 1.923 ms, half of it on."""
    assert WAKING_TONE_HZ == 520.0
    line = open_tone("pwmchip0/0", 520.0, root=root)
    assert read(root, "period") == pytest.approx(1e9 / 520, abs=1)
    assert read(root, "duty_cycle") * 2 == pytest.approx(read(root, "period"), abs=1)
    assert read(root, "enable") == 0
    line.set(on=True)
    assert read(root, "enable") == 1
    assert line.self_test() is LineCheck.DRIVEN
    (root / "pwmchip0" / "pwm0" / "enable").write_text("0\n")
    assert line.self_test() is LineCheck.NOT_DRIVEN
    line.close()
    assert read(root, "enable") == 0


def test_a_gpio_name_cannot_give_a_tone(root: Path) -> None:
    """Python does not wave a pin a thousand times a second: refused, with the mend."""
    assert is_tone_name("pwmchip0/0")
    assert not is_tone_name("GPIO18")
    with pytest.raises(LineError, match="name a PWM channel"):
        open_tone("GPIO18", 520.0, root=root)


def test_a_missing_chip_says_how_to_get_one(tmp_path: Path) -> None:
    with pytest.raises(LineError, match="dtoverlay=pwm"):
        open_tone("pwmchip0/0", 520.0, root=tmp_path)


def test_a_new_channel_is_exported_and_waited_for(tmp_path: Path) -> None:
    """udev needs a moment to hand over the files of a channel just exported."""
    chip = tmp_path / "pwmchip0"
    chip.mkdir()
    (chip / "export").write_text("")
    waits: list[float] = []

    def pause(for_s: float) -> None:
        waits.append(for_s)
        if len(waits) == 2:
            (chip / "pwm1").mkdir()
            (chip / "pwm1" / "enable").write_text("0")

    open_tone("pwmchip0/1", 520.0, root=tmp_path, pause=pause)
    assert (chip / "export").read_text() == "1"
    assert len(waits) == 2


@pytest.mark.parametrize("tone_hz", [0.0, 99.0, 5001.0, float("nan")])
def test_an_impossible_tone_is_refused_with_the_range(
    root: Path, tone_hz: float
) -> None:
    with pytest.raises(LineError, match="100 to 5000"):
        open_tone("pwmchip0/0", tone_hz, root=root)


def test_unwritable_or_unreadable_files_are_named_errors(tmp_path: Path) -> None:
    chip = tmp_path / "pwmchip0"
    (chip / "pwm0" / "duty_cycle").mkdir(parents=True)
    with pytest.raises(LineError, match="duty_cycle"):
        open_tone("pwmchip0/0", 520.0, root=tmp_path)


def test_a_channel_that_vanishes_is_a_named_error(root: Path) -> None:
    line = open_tone("pwmchip0/0", 520.0, root=root)
    (root / "pwmchip0" / "pwm0" / "enable").unlink()
    with pytest.raises(LineError, match="cannot be read"):
        line.self_test()
    line.close()
