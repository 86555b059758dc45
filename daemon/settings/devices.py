"""Whether this machine has the devices that a config names, and may open them."""

import grp
import os
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from cabinvigil.daemon.settings.config import MqttSettings, Settings
from cabinvigil.daemon.settings.errors import Mistake, one_line
from cabinvigil.daemon.settings.values import OPEN_TO_OTHERS

_I2C = (
    "switch I2C on (`sudo raspi-config`, Interface Options, I2C) and restart, "
    "or load the kernel module i2c-dev"
)
_SERIAL = (
    "plug the adapter in, or switch the serial port on and its login shell off "
    "(`sudo raspi-config`, Interface Options, Serial Port) and restart"
)
_ONE_WIRE = (
    "switch 1-Wire on (`sudo raspi-config`, Interface Options, 1-Wire), restart, "
    "and look for its folder in /sys/bus/w1/devices"
)
_PWM = "add dtoverlay=pwm to the boot firmware's config.txt and restart"
_GPIO = "load the kernel's GPIO driver, or run this on the Pi that has the lines"


@dataclass(frozen=True)
class DeviceFiles:
    """The three questions that are put to the file system; tests hand in their own."""

    status: Callable[[str], os.stat_result] = os.stat
    may: Callable[[str, int], bool] = os.access
    chips: Callable[[], list[str]] = lambda: sorted(
        str(path) for path in Path("/dev").glob("gpiochip*")
    )


def device_mistakes(
    settings: Settings, file: str, machine: DeviceFiles | None = None
) -> list[Mistake]:
    """Return what of the machine does not fit the config, each with its remedy."""
    machine = machine or DeviceFiles()
    found: list[Mistake] = []
    for key, path, mend in _devices(settings):
        found += _device(machine, file, key, path, mend)
    for name, part in settings.parts.items():
        if part.path is not None:
            found += _plain_file(
                machine, file, f"part.{name}.path", part.path, _ONE_WIRE
            )
    tone = settings.buzzer is not None and settings.buzzer.tone_hz is not None
    if settings.buzzer is not None and tone:
        chip = f"/sys/class/pwm/{settings.buzzer.line.partition('/')[0]}"
        status = _status(machine, file, "buzzer.line", chip, _PWM)
        found += [status] if isinstance(status, Mistake) else []
    if (settings.buzzer and not tone) or settings.light or settings.button:
        found += _lines(machine, file)
    if settings.mqtt is not None:
        found += _broker_files(machine, file, settings.mqtt)
    return found


def _devices(settings: Settings) -> Iterator[tuple[str, str, str]]:
    """Yield (key, device file, remedy where it is missing) of every wire in use."""
    parts = settings.parts.values()
    for name, bus in settings.i2c.items():
        if any(part.bus == name for part in parts):
            yield f"i2c.{name}.device", bus.device, _I2C
    for name, part in settings.parts.items():
        if part.port is not None:
            yield f"part.{name}.port", part.port, _SERIAL


def _status(
    machine: DeviceFiles, file: str, key: str, path: str, mend: str
) -> os.stat_result | Mistake:
    try:
        return machine.status(path)
    except FileNotFoundError:
        return Mistake(file, key, f"names {one_line(path)}, which is not there", mend)
    except OSError as error:
        reason = os.strerror(error.errno or 0)
        what = f"names {one_line(path)}, which cannot be looked at ({reason})"
        return Mistake(file, key, what, "check the path and its folders' permissions")


def _group_mend(status: os.stat_result, path: str) -> str:
    """Say how this user gets to open a device, by its group where it has one."""
    try:
        group = grp.getgrgid(status.st_gid).gr_name
    except KeyError:
        group = ""
    if group in ("", "root") or not status.st_mode & stat.S_IRGRP:
        return (
            f"add a udev rule that gives {one_line(path)} a group of its own "
            "(the one in systemd/ is an example), and this user to that group"
        )
    return (
        f"add this user to its group (`sudo usermod -aG {group} USER`) and log in anew"
    )


def _device(
    machine: DeviceFiles, file: str, key: str, path: str, mend: str
) -> Iterator[Mistake]:
    status = _status(machine, file, key, path, mend)
    if isinstance(status, Mistake):
        yield status
    elif not stat.S_ISCHR(status.st_mode):
        what = f"names {one_line(path)}, which is no device"
        yield Mistake(file, key, what, "name the device file, like /dev/i2c-1")
    elif not machine.may(path, os.R_OK | os.W_OK):
        what = f"names {one_line(path)}, which this user may not open"
        yield Mistake(file, key, what, _group_mend(status, path))


def _plain_file(
    machine: DeviceFiles, file: str, key: str, path: str, mend: str
) -> Iterator[Mistake]:
    status = _status(machine, file, key, path, mend)
    if isinstance(status, Mistake):
        yield status
    elif not machine.may(path, os.R_OK):
        what = f"names {one_line(path)}, which this user may not read"
        yield Mistake(file, key, what, "let this user read it with chgrp and chmod")


def _lines(machine: DeviceFiles, file: str) -> Iterator[Mistake]:
    chips = machine.chips()
    if not chips:
        yield Mistake(file, "buzzer", "needs GPIO, which this machine has not", _GPIO)
    elif not any(machine.may(chip, os.R_OK | os.W_OK) for chip in chips):
        status = _status(machine, file, "buzzer", chips[0], _GPIO)
        what = "needs GPIO, which this user may not open"
        mend = (
            status.mend
            if isinstance(status, Mistake)
            else _group_mend(status, chips[0])
        )
        yield Mistake(file, "buzzer", what, mend)


def _broker_files(
    machine: DeviceFiles, file: str, mqtt: MqttSettings
) -> Iterator[Mistake]:
    if mqtt.ca_file is not None:
        mend = "copy the broker's certificate authority there"
        yield from _plain_file(machine, file, "mqtt.ca_file", mqtt.ca_file, mend)
    path, key = mqtt.password_file, "mqtt.password_file"
    if path is None:
        return
    access = f"`chgrp cabinvigil {one_line(path)}` and `chmod 640 {one_line(path)}`"
    mend = f"put the password there, alone on one line, then {access}"
    told = list(_plain_file(machine, file, key, path, mend))
    yield from told
    if not told and machine.status(path).st_mode & OPEN_TO_OTHERS:
        what = f"names {one_line(path)}, which is open to others"
        yield Mistake(file, key, what, access)
