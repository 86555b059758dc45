"""The waking tone through a stand-in for the kernel's PWM files."""

from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import Sound, SourceFault
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.outputs.signal.gpio import (
    LineAlteredError,
    LineCheck,
    LineError,
)
from cabinvigil.daemon.outputs.signal.tone import (
    WAKING_TONE_HZ,
    is_tone_name,
    open_tone,
)
from tests.outputs.hands import HandClock, Told
from tests.outputs.signal.sounding import run


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


PERIOD_NS = 1_923_077
ALTERATIONS = {
    "mute": {"duty_cycle": 0},
    "all on, which a loudspeaker does not sound": {"duty_cycle": PERIOD_NS},
    "another tone": {"period": 50_000_000},
    "above all hearing": {"duty_cycle": 10, "period": 20},
}


def alter(root: Path, files: dict[str, int]) -> None:
    for name, value in files.items():
        (root / "pwmchip0" / "pwm0" / name).write_text(f"{value}\n")


def is_tone(root: Path) -> bool:
    return read(root, "period") == PERIOD_NS == 2 * read(root, "duty_cycle") + 1


@pytest.mark.parametrize("files", ALTERATIONS.values(), ids=ALTERATIONS)
@pytest.mark.parametrize("on", [False, True])
def test_a_tone_that_was_changed_from_outside_is_told_and_set_again(
    root: Path, files: dict[str, int], on: bool
) -> None:
    """Every process of the group gpio may write there; `enable` alone proves little."""
    line = open_tone("pwmchip0/0", 520.0, root=root)
    line.set(on=on)
    alter(root, files | {"enable": int(not on)})
    with pytest.raises(LineAlteredError, match="changed from outside"):
        line.self_test()
    assert is_tone(root)
    assert read(root, "enable") == on
    assert line.self_test() is LineCheck.DRIVEN


def test_a_period_below_the_duty_that_stands_is_never_asked_for(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The kernel refuses it: so the duty goes to zero before."""
    line = open_tone("pwmchip0/0", 520.0, root=root)
    alter(root, {"period": 50_000_000, "duty_cycle": 25_000_000})
    real = Path.open

    def write_checked(path: Path, *given: str, **named: str) -> object:
        if "w" in given and path.name == "period":
            assert read(root, "duty_cycle") <= PERIOD_NS
        return real(path, *given, **named)  # type: ignore[call-overload]

    monkeypatch.setattr(Path, "open", write_checked)
    with pytest.raises(LineAlteredError):
        line.self_test()
    assert is_tone(root)


def test_files_that_hold_no_number_are_a_named_error(root: Path) -> None:
    line = open_tone("pwmchip0/0", 520.0, root=root)
    (root / "pwmchip0" / "pwm0" / "period").write_text("none\n")
    with pytest.raises(LineError, match="cannot be read"):
        line.self_test()


def sounder(root: Path, clock: HandClock) -> tuple[Buzzer, Told]:
    told = Told()
    buzzer = Buzzer(
        lambda: open_tone("pwmchip0/0", 520.0, root=root), clock, told, inline=True
    )
    return buzzer, told


def test_a_sounder_made_mute_in_the_evening_sounds_at_night(root: Path) -> None:
    """Told within a quarter of a minute, and set again; over when it stays so."""
    clock = HandClock()
    buzzer, told = sounder(root, clock)
    run(buzzer, clock, 5.0)
    alter(root, ALTERATIONS["mute"])
    run(buzzer, clock, 20.0)
    assert told.kinds() == ["altered"]
    assert isinstance(told[0], SourceFault)
    assert "pwmchip0/0" in told[0].text
    assert is_tone(root)
    run(buzzer, clock, 45.0)
    assert told.kinds() == ["altered"]
    run(buzzer, clock, 65.0)
    assert told.kinds() == ["altered", "ok"], "no fault outlives its cause by a minute"


def test_a_program_that_mutes_it_again_and_again_costs_pulses_and_is_told(
    root: Path,
) -> None:
    """Each pulse begins with the tone; one fault for the whole of it."""
    clock = HandClock()
    buzzer, told = sounder(root, clock)
    buzzer.handle(Sound("temporal-four", "o2-low"), clock.stamp())
    begun = 0
    while clock.now_s < 40.0:
        is_on = read(root, "enable") == 1
        wait_s = buzzer.step(clock.now_s)
        if read(root, "enable") == 1 and not is_on:
            begun += 1
            assert is_tone(root)
        alter(root, ALTERATIONS["mute"])
        clock.now_s += min(wait_s, 0.5)
    assert begun == 28
    assert set(told.kinds()) == {"altered", "not-heard"}
    assert len(told) == 2
    run(buzzer, clock, 110.0)
    assert told.kinds()[-1] == "ok"
