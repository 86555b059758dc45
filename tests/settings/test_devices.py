"""What of the machine does not fit the config, each with its remedy."""

import grp
import os
import stat
from pathlib import Path

import pytest

from cabinvigil.daemon.settings import ca_certificate
from cabinvigil.daemon.settings.accounts import Account
from cabinvigil.daemon.settings.devices import LAST_SOUND, DeviceFiles, device_mistakes
from cabinvigil.daemon.settings.errors import Mistake
from cabinvigil.daemon.settings.registries import packaged
from tests.known import CABIN, Desk
from tests.outputs.brokers import Certificates

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
        no_group: str = "",
        not_in: str = "",
        last_sound: str | None = None,
    ) -> None:
        def read(path: str) -> bytes:
            if path != LAST_SOUND or last_sound is None:
                raise FileNotFoundError(2, "No such file or directory")
            return last_sound.encode()

        numbers = {"dialout": 20, "i2c": 91, "gpio": 92, "cabinvigil": 93, "users": 94}
        numbers[grp.getgrgid(os.getgid()).gr_name] = os.getgid()
        numbers.pop(no_group, None)
        groups = frozenset(n for name, n in numbers.items() if name != not_in)
        who = Account("cabinvigil", 990, groups)

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
            read=read,
            who=who,
            watcher=lambda: who,
            group_id=numbers.get,
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
            ["chown cabinvigil:root", "chmod 400"],
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


@pytest.mark.parametrize("group", ["cabinvigil", "i2c", "gpio", "dialout"])
def test_a_missing_group_and_a_missing_member_are_told(
    tmp_path: Path, group: str
) -> None:
    """The unit does not start without a group that it names; devices do not tell."""
    (mistake,) = told(tmp_path, Bench(WHOLE, no_group=group))
    assert f"the group {group}, which this machine has not" in mistake.what
    assert "systemd-sysusers" in mistake.mend
    (mistake,) = told(tmp_path, Bench(WHOLE, not_in=group))
    assert "the user cabinvigil is not in it" in mistake.what
    assert f"usermod -aG {group} cabinvigil" in mistake.mend


def test_a_device_whose_group_the_watch_is_not_in_is_told_once(tmp_path: Path) -> None:
    closed = Bench(WHOLE, ("/dev/ttyUSB0",), not_in="dialout")
    (mistake,) = told(tmp_path, closed)
    assert "which the user cabinvigil may not open" in mistake.what


@pytest.mark.parametrize(
    ("there", "words"),
    [
        ("# its line\nBUZZER_LINE=GPIO17\nBUZZER_ACTIVE_LOW=0\n", []),
        ('BUZZER_LINE="GPIO17"\n', []),
        ("BUZZER_LINE=GPIO5\n", ["is GPIO5", "write BUZZER_LINE=GPIO17 there"]),
        ("", ["is not set", "write BUZZER_LINE=GPIO17 there"]),
        (
            "BUZZER_LINE=GPIO17\nBUZZER_ACTIVE_LOW=1\n",
            ["is 1", "write BUZZER_ACTIVE_LOW=0 there"],
        ),
    ],
)
def test_the_last_sound_goes_out_on_the_buzzers_line(
    tmp_path: Path, there: str, words: list[str]
) -> None:
    """Another file, which nobody thinks of: found out the night the watch is dead."""
    mistakes = told(tmp_path, Bench(WHOLE, last_sound=there))
    assert len(mistakes) == bool(words)
    for word in words:
        assert word in str(mistakes[0])


def test_a_file_that_is_no_device(tmp_path: Path) -> None:
    """A typing mistake that hits some other file."""
    files = WHOLE | {"/dev/ttyUSB0": stat.S_IFREG | 0o644}
    (mistake,) = told(tmp_path, Bench(files))
    assert "is not a device" in mistake.what


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
        assert "`sudo chmod 400 /etc/cabinvigil/mqtt-password`" in mistake.mend
    files = WHOLE | {"/etc/cabinvigil/mqtt-password": stat.S_IFREG | 0o640}
    assert told(tmp_path, Bench(files)) == []
    (mistake,) = told(tmp_path, Bench(WHOLE, ("/etc/cabinvigil/mqtt-password",)))
    assert "may not read" in mistake.what


def test_x12_what_people_are_told_in_a_danger_is_nobody_elses_to_write(
    tmp_path: Path,
) -> None:
    """Somebody else's file may say "Go back to sleep"."""
    words = tmp_path / "mine.toml"
    words.write_bytes(packaged("words_en.toml").read_bytes())
    text = CABIN.replace("[watch]\n", '[watch]\nwords = "mine.toml"\n')
    for mode in (0o664, 0o646):
        files = WHOLE | {str(words): stat.S_IFREG | mode}
        (mistake,) = told(tmp_path, Bench(files), text)
        assert mistake.key == "watch.words"
        assert "others may write" in mistake.what
        assert "chmod go-w" in mistake.mend
    files = WHOLE | {str(words): stat.S_IFREG | 0o644}
    assert told(tmp_path, Bench(files), text) == []
    (mistake,) = told(tmp_path, Bench(WHOLE), text)
    assert "is not there" in mistake.what


def test_x10_who_may_look_and_mark_may_not_read_the_password(tmp_path: Path) -> None:
    """Else each of them could say "All clear" in the watch's name."""
    group = grp.getgrgid(os.getgid())
    text = CABIN.replace('group = "cabinvigil"', f'group = "{group.gr_name}"')
    files = WHOLE | {"/etc/cabinvigil/mqtt-password": stat.S_IFREG | 0o640}
    (mistake,) = told(tmp_path, Bench(files, group=group.gr_gid), text)
    assert f"the group {group.gr_name} can read" in mistake.what
    assert "chmod 400" in mistake.mend
    assert told(tmp_path, Bench(files, group=group.gr_gid + 1), text) == []
    unknown = text.replace(f'"{group.gr_name}"', '"nobody-has-it"')
    (mistake,) = told(tmp_path, Bench(files, group=group.gr_gid), unknown)
    assert mistake.key == "ask.group"


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


@pytest.mark.parametrize("strict", [False, True])
def test_an_authority_that_a_strict_tls_refuses(
    strict: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Told before the night, where this Python is so strict; the good one never is."""
    monkeypatch.setattr(ca_certificate, "is_strict", lambda: strict)
    for usage, is_told in ((Certificates.KEY_USAGE, False), ((), strict)):
        made = Certificates(tmp_path / f"{is_told}", usage)
        found = authority_mistakes(tmp_path, made.ca)
        assert len(found) == is_told
        for mistake in found:
            assert mistake.key == "mqtt.ca_file"
            assert "has no key usage" in mistake.what
            assert "hardware.md" in mistake.mend


def test_an_authoritys_file_that_holds_none(tmp_path: Path) -> None:
    """A key put there by mistake, an empty file, a folder, a pipe: told, none waits."""
    key = Certificates(tmp_path / "made").key
    (tmp_path / "empty").touch()
    os.mkfifo(tmp_path / "pipe")
    for path in (key, tmp_path / "empty", tmp_path / "pipe"):
        (mistake,) = authority_mistakes(tmp_path, path)
        assert "holds no certificate" in mistake.what
    (mistake,) = authority_mistakes(tmp_path, tmp_path / "made")
    assert "cannot be read (Is a directory)" in mistake.what


def authority_mistakes(tmp_path: Path, path: Path) -> list[Mistake]:
    """Ask the real machine about a config with this authority."""
    text = CABIN.replace("[mqtt]\n", f'[mqtt]\nca_file = "{path}"\n')
    found = device_mistakes(Desk(tmp_path).load(text), "cabin.toml")
    return [one for one in found if one.key == "mqtt.ca_file"]


def test_the_real_machine_is_asked(tmp_path: Path) -> None:
    """The questions are the system's own where no test stands in between."""
    real = tmp_path / "port"
    real.touch()
    text = CABIN.replace("/dev/ttyUSB0", str(real)).replace("/dev/i2c-1", "/dev/null")
    keys = {
        one.key: one for one in device_mistakes(Desk(tmp_path).load(text), "cabin.toml")
    }
    assert "is not a device" in keys["part.bunk-co.port"].what
    assert "i2c.main.device" not in keys
