"""What of the machine does not fit the config, each with its remedy."""

import os
import stat
from pathlib import Path

import pytest

from cabinvigil.daemon.settings.devices import DeviceFiles, device_mistakes
from cabinvigil.daemon.settings.errors import Mistake
from tests.known import CABIN, Desk

CHARACTER = stat.S_IFCHR | 0o660
DIALOUT = 20  # Debian's number of the group that owns serial ports (base-passwd)


class Bench(DeviceFiles):
    """A machine with the files and permissions that a test gives it."""

    def __init__(
        self,
        files: dict[str, int],
        closed: tuple[str, ...] = (),
        chips: tuple[str, ...] = ("/dev/gpiochip0",),
        group: int = DIALOUT,
    ) -> None:
        def status(path: str) -> os.stat_result:
            if path == "/dev/loop":
                raise OSError(40, "Too many levels of symbolic links")
            if path not in files:
                raise FileNotFoundError(2, "No such file or directory")
            return os.stat_result((files[path], 0, 0, 1, 0, group, 0, 0, 0, 0))

        super().__init__(
            status=status,
            may=lambda path, how: path in {*files, *chips} and path not in closed,
            chips=lambda: list(chips),
        )


WHOLE = {
    "/dev/i2c-1": CHARACTER,
    "/dev/ttyUSB0": CHARACTER,
    "/dev/gpiochip0": CHARACTER,
    "/sys/bus/w1/devices/28-1/w1_slave": stat.S_IFREG | 0o444,
    "/etc/cabinvigil/mqtt-password": stat.S_IFREG | 0o600,
}


def told(tmp_path: Path, machine: DeviceFiles, text: str = CABIN) -> list[Mistake]:
    return device_mistakes(Desk(tmp_path).load(text), "cabin.toml", machine)


def test_a_whole_machine_is_fine(tmp_path: Path) -> None:
    """Every device there and open: nothing to say."""
    assert told(tmp_path, Bench(WHOLE)) == []


@pytest.mark.parametrize(
    ("path", "key", "words"),
    [
        ("/dev/i2c-1", "i2c.main.device", ["is not there", "raspi-config", "i2c-dev"]),
        ("/dev/ttyUSB0", "part.bunk-co.port", ["is not there", "login shell off"]),
        ("/sys/bus/w1/devices/28-1/w1_slave", "part.pane.path", ["1-Wire"]),
        (
            "/etc/cabinvigil/mqtt-password",
            "mqtt.password_file",
            ["chgrp cabinvigil", "chmod 640"],
        ),
    ],
)
def test_what_is_missing_is_told_with_its_remedy(
    tmp_path: Path, path: str, key: str, words: list[str]
) -> None:
    """Each kind of wire has a switch of its own."""
    files = {name: mode for name, mode in WHOLE.items() if name != path}
    (mistake,) = told(tmp_path, Bench(files))
    assert mistake.key == key
    for word in (path, *words):
        assert word in str(mistake)


def test_a_device_that_may_not_be_opened(tmp_path: Path) -> None:
    """A device's group is the remedy; where it is root's own, a udev rule is."""
    closed = ("/dev/ttyUSB0", "/dev/gpiochip0")
    mistakes = told(tmp_path, Bench(WHOLE, closed))
    assert [one.key for one in mistakes] == ["part.bunk-co.port", "buzzer"]
    assert all("usermod -aG dialout" in one.mend for one in mistakes)
    mistakes = told(tmp_path, Bench(WHOLE, closed, group=0))
    assert all("udev rule" in one.mend for one in mistakes)
    mistakes = told(tmp_path, Bench(WHOLE, closed, group=54321))
    assert all("udev rule" in one.mend for one in mistakes)


def test_a_file_that_is_no_device(tmp_path: Path) -> None:
    """A typing mistake that hits some other file."""
    files = WHOLE | {"/dev/ttyUSB0": stat.S_IFREG | 0o644}
    (mistake,) = told(tmp_path, Bench(files))
    assert "is no device" in mistake.what


def test_a_path_that_cannot_be_looked_at(tmp_path: Path) -> None:
    """Any other refusal of the kernel is passed on in its words."""
    text = CABIN.replace("/dev/ttyUSB0", "/dev/loop")
    (mistake,) = told(tmp_path, Bench(WHOLE), text)
    assert "Too many levels of symbolic links" in mistake.what


def test_a_machine_without_lines(tmp_path: Path) -> None:
    """No GPIO, no buzzer: told before the night."""
    (mistake,) = told(tmp_path, Bench(WHOLE, chips=()))
    assert mistake.key == "buzzer"
    (mistake,) = told(
        tmp_path, Bench(WHOLE, chips=("/dev/gpiochip9",), closed=("/dev/gpiochip9",))
    )
    assert mistake.key == "buzzer"


def test_a_tone_needs_the_pwm_chip_and_no_gpio(tmp_path: Path) -> None:
    """A loudspeaker alone hangs on PWM; its chip is what must be there."""
    text = CABIN.replace('line = "GPIO17"', 'line = "pwmchip0/0"\ntone_hz = 520')
    text = text.replace('second_line = "GPIO27"', "")
    text = text.replace('[light]\nline = "GPIO23"', "")
    text = text.replace('[button]\nline = "GPIO24"', "")
    (mistake,) = told(tmp_path, Bench(WHOLE, chips=()), text)
    assert "/sys/class/pwm/pwmchip0" in mistake.what
    assert "dtoverlay=pwm" in mistake.mend
    chip = WHOLE | {"/sys/class/pwm/pwmchip0": stat.S_IFDIR | 0o755}
    assert told(tmp_path, Bench(chip, chips=()), text) == []


def test_a_password_that_others_may_read(tmp_path: Path) -> None:
    """As the watch itself refuses it; root's file, read by its group, is as shipped."""
    for mode in (0o644, 0o660):
        files = WHOLE | {"/etc/cabinvigil/mqtt-password": stat.S_IFREG | mode}
        (mistake,) = told(tmp_path, Bench(files))
        assert "open to others" in mistake.what
        assert "`chmod 640 /etc/cabinvigil/mqtt-password`" in mistake.mend
    files = WHOLE | {"/etc/cabinvigil/mqtt-password": stat.S_IFREG | 0o640}
    assert told(tmp_path, Bench(files)) == []
    (mistake,) = told(tmp_path, Bench(WHOLE, ("/etc/cabinvigil/mqtt-password",)))
    assert "may not read" in mistake.what


def test_without_outputs_nothing_of_theirs_is_asked(tmp_path: Path) -> None:
    """No [buzzer], no line; no [mqtt], no password; a CA file is looked for."""
    text = CABIN[: CABIN.index("[buzzer]")]
    files = {name: WHOLE[name] for name in list(WHOLE)[:2]} | {
        "/sys/bus/w1/devices/28-1/w1_slave": stat.S_IFREG | 0o444
    }
    assert told(tmp_path, Bench(files, chips=()), text) == []
    secure = text + '[mqtt]\nhost = "b"\nca_file = "/etc/ca.pem"\n'
    (mistake,) = told(tmp_path, Bench(files, chips=()), secure)
    assert mistake.key == "mqtt.ca_file"


def test_the_real_machine_is_asked(tmp_path: Path) -> None:
    """The questions are the system's own where no test stands in between."""
    real = tmp_path / "port"
    real.touch()
    text = CABIN.replace("/dev/ttyUSB0", str(real)).replace("/dev/i2c-1", "/dev/null")
    keys = {
        one.key: one for one in device_mistakes(Desk(tmp_path).load(text), "cabin.toml")
    }
    assert "is no device" in keys["part.bunk-co.port"].what
    assert "i2c.main.device" not in keys
