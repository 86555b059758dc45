"""Whether this machine has the devices that a config names, and may open them."""

import grp
import os
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from cabinvigil.daemon.settings import ca_certificate
from cabinvigil.daemon.settings.accounts import (
    WATCHER,
    Account,
    account_of,
    counting,
    group_id,
)
from cabinvigil.daemon.settings.bus_clashes import bus_clashes
from cabinvigil.daemon.settings.bus_names import how_to_get
from cabinvigil.daemon.settings.config import BuzzerSettings, MqttSettings, Settings
from cabinvigil.daemon.settings.errors import Mistake, one_line
from cabinvigil.daemon.settings.registries import Registries
from cabinvigil.daemon.settings.values import OPEN_TO_OTHERS, PartSettings

_SERIAL = (
    "plug the adapter in, or switch the serial port on and its login shell off "
    "(`sudo raspi-config`, Interface Options, Serial Port) and restart"
)
_ONE_WIRE = (
    "switch 1-Wire on (`sudo raspi-config`, Interface Options, 1-Wire), restart, "
    "and look for its folder in /sys/bus/w1/devices"
)
_PWM = "add dtoverlay=pwm to the boot firmware's config.txt and restart"
LAST_SOUND = "/etc/default/cabinvigil-failed"
"""The line of cabinvigil-failed.service, which reads no config of ours."""
_GROUP_KEYS = {"i2c": "i2c", "dialout": "part", "gpio": "buzzer"}
_GPIO = "load the kernel's GPIO driver, or run this on the Pi that has the lines"


def _read(path: str) -> bytes:
    # Not held up where the name is a pipe's.
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    with open(descriptor, "rb") as file:
        return file.read(ca_certificate.LONGEST_BYTES)


@dataclass(frozen=True)
class DeviceFiles:
    """What is asked of the machine, and for whom; tests hand in their own."""

    status: Callable[[str], os.stat_result] = os.stat
    who: Account = field(default_factory=counting)
    may: Callable[[str, int], bool] = lambda path, how: counting().may(path, how)
    watcher: Callable[[], Account | None] = lambda: account_of(WATCHER)
    group_id: Callable[[str], int | None] = group_id
    chips: Callable[[], list[str]] = lambda: sorted(
        str(path) for path in Path("/dev").glob("gpiochip*")
    )
    read: Callable[[str], bytes] = _read


def device_mistakes(
    settings: Settings,
    file: str,
    machine: DeviceFiles | None = None,
    known: Registries | None = None,
) -> list[Mistake]:
    """Return what of the machine does not fit the config, each with its remedy."""
    machine, known = machine or DeviceFiles(), known or Registries()
    found: list[Mistake] = []
    for key, path, mend in _devices(settings):
        found += _device(machine, file, key, path, mend)
    found += bus_clashes(settings.i2c, settings.parts, file, known.bus_names)
    for name, part in settings.parts.items():
        found += _shared_name(file, name, part, known)
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
    contact = next((n for n, part in settings.parts.items() if part.line), None)
    if (settings.buzzer and not tone) or settings.light or settings.button:
        found += _lines(machine, file, "buzzer")
    elif contact is not None:
        found += _lines(machine, file, f"part.{contact}.line")
    if settings.buzzer is not None:
        found += _last_sound(machine, file, settings.buzzer)
    mends = {one.mend for one in found}
    groups = _groups(machine, file, settings)
    found += [one for one in groups if one.mend not in mends]
    if settings.watch.words is not None:
        found += _sentences(machine, file, settings.watch.words)
    if settings.mqtt is not None:
        found += _broker_files(machine, file, settings.mqtt, settings.ask.group)
    return found


def _devices(settings: Settings) -> Iterator[tuple[str, str, str]]:
    """Yield (key, device file, remedy where it is missing) of every wire in use."""
    parts = settings.parts.values()
    for name, bus in settings.i2c.items():
        if any(part.bus == name for part in parts):
            yield f"i2c.{name}.device", bus.device, how_to_get(bus.device)
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


def _group_mend(who: Account, status: os.stat_result, path: str) -> str:
    """Return how a user gets to open a device, by its group where it has one."""
    try:
        group = grp.getgrgid(status.st_gid).gr_name
    except KeyError:
        group = ""
    if group in ("", "root") or not status.st_mode & stat.S_IRGRP:
        return (
            f"add a udev rule that gives {one_line(path)} a group of its own "
            f"(the one in systemd/ is an example), and the user {who.name} to it"
        )
    return _join(who, group)


def _join(who: Account, group: str) -> str:
    return (
        f"`sudo usermod -aG {group} {who.name}`, and log in again or restart the "
        "monitor"
    )


def _device(
    machine: DeviceFiles, file: str, key: str, path: str, mend: str
) -> Iterator[Mistake]:
    status = _status(machine, file, key, path, mend)
    if isinstance(status, Mistake):
        yield status
    elif not stat.S_ISCHR(status.st_mode):
        what = f"names {one_line(path)}, which is not a device"
        yield Mistake(file, key, what, "name the device file, like /dev/i2c-1")
    elif not machine.may(path, os.R_OK | os.W_OK):
        what = f"names {one_line(path)}, which the user {machine.who.name} may not open"
        yield Mistake(file, key, what, _group_mend(machine.who, status, path))


def _shared_name(
    file: str, name: str, part: PartSettings, known: Registries
) -> Iterator[Mistake]:
    """Refuse a by-id link that any adapter of its make may get, as a moving name."""
    port, names = part.port or "", known.port_names
    if names.is_shared(port) and not known.part(part.kind).says_what(part.options):
        what = (
            f"names {one_line(port)}, whose adapter has no serial number: another of "
            f"its make gets the same name, and the replies of a {part.kind} do not "
            "say which gas they measure"
        )
        yield Mistake(file, f"part.{name}.port", what, names.mend(port))


def _reader_mend(who: Account, path: str) -> str:
    shown = one_line(path)
    return f"`sudo chgrp {who.name} {shown}` and `sudo chmod 640 {shown}`"


def _plain_file(
    machine: DeviceFiles, file: str, key: str, path: str, mend: str, closed: str = ""
) -> Iterator[Mistake]:
    status = _status(machine, file, key, path, mend)
    if isinstance(status, Mistake):
        yield status
    elif not machine.may(path, os.R_OK):
        what = f"names {one_line(path)}, which the user {machine.who.name} may not read"
        yield Mistake(file, key, what, closed or _reader_mend(machine.who, path))


def _lines(machine: DeviceFiles, file: str, key: str) -> Iterator[Mistake]:
    chips = machine.chips()
    if not chips:
        yield Mistake(file, key, "needs GPIO, which this machine has not", _GPIO)
    elif not any(machine.may(chip, os.R_OK | os.W_OK) for chip in chips):
        status = _status(machine, file, key, chips[0], _GPIO)
        what = f"needs GPIO, which the user {machine.who.name} may not open"
        mend = (
            status.mend
            if isinstance(status, Mistake)
            else _group_mend(machine.who, status, chips[0])
        )
        yield Mistake(file, key, what, mend)


def _last_sound(
    machine: DeviceFiles, file: str, buzzer: BuzzerSettings
) -> Iterator[Mistake]:
    """Yield whether the sound that needs no monitor would go out on another line."""
    try:
        text = machine.read(LAST_SOUND).decode(errors="replace")
    except OSError:
        return  # not where it runs, or put in without that unit
    pairs = (line.strip().partition("=") for line in text.splitlines())
    told = {key: value.strip("\"' ") for key, mark, value in pairs if mark}
    wanted = {"BUZZER_LINE": buzzer.line, "BUZZER_ACTIVE_LOW": "01"[buzzer.active_low]}
    for key, value in wanted.items():
        said = told.get(key, "0" if key == "BUZZER_ACTIVE_LOW" else "")
        if said != value:
            what = (
                f"and {LAST_SOUND} do not agree, so nothing would sound when the "
                f"monitor cannot start: there {key} is {one_line(said) or 'not set'}"
            )
            yield Mistake(file, "buzzer", what, f"write {key}={one_line(value)} there")


def _authority(
    machine: DeviceFiles, file: str, path: str, host: str
) -> Iterator[Mistake]:
    """Yield what is wrong with the file of the broker's certificate authority."""
    key, mend = "mqtt.ca_file", "copy the broker's certificate authority there, in PEM"
    told = list(_plain_file(machine, file, key, path, mend))
    yield from told
    if told:
        return
    try:
        pem = machine.read(path)
    except OSError as error:
        what = f"names {one_line(path)}, which cannot be read ({error.strerror})"
        yield Mistake(file, key, what, mend)
        return
    if not ca_certificate.count_certificates(pem):
        what = f"names {one_line(path)}, which holds no certificate"
        yield Mistake(file, key, what, mend)
    flaw = ca_certificate.strict_flaw(pem, host)
    if flaw and ca_certificate.is_strict():
        what = (
            f"names {one_line(path)}, an authority that {flaw}: refused by the TLS of "
            "Python 3.13 and later"
        )
        yield Mistake(file, key, what, ca_certificate.REMEDY)


def _broker_files(
    machine: DeviceFiles, file: str, mqtt: MqttSettings, callers: str
) -> Iterator[Mistake]:
    """Yield what is wrong with the broker's files; `callers` may look, not read."""
    if mqtt.ca_file is not None:
        yield from _authority(machine, file, mqtt.ca_file, mqtt.host)
    path, key = mqtt.password_file, "mqtt.password_file"
    if path is None:
        return
    shown = one_line(path)
    access = f"`sudo chown {WATCHER}:root {shown}` and `sudo chmod 400 {shown}`"
    mend = f"put the password there, alone on one line, then {access}"
    told = list(_plain_file(machine, file, key, path, mend, access))
    yield from told
    if told:
        return
    status = machine.status(path)
    if status.st_mode & OPEN_TO_OTHERS:
        yield Mistake(file, key, f"names {shown}, which is open to others", access)
    elif status.st_mode & stat.S_IRGRP and machine.group_id(callers) == status.st_gid:
        what = (
            f"names {shown}, which the group {callers} can read: anyone who may look "
            "and mark could send as the monitor"
        )
        yield Mistake(file, key, what, access)


def _sentences(machine: DeviceFiles, file: str, path: str) -> Iterator[Mistake]:
    """Yield whether others may write what a sleeper is told to do."""
    status = _status(machine, file, "watch.words", path, "name a message file")
    if isinstance(status, Mistake):
        yield status
    elif status.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        what = (
            f"names {one_line(path)}, which others may write: it says what people do "
            "in a danger"
        )
        yield Mistake(file, "watch.words", what, f"`chmod go-w {one_line(path)}`")


def _groups(machine: DeviceFiles, file: str, settings: Settings) -> Iterator[Mistake]:
    """Yield each group that the machine lacks, or the monitor's user is not in.

    The unit asks for all that it names, and does not start without one of them; a
    device that is not there yet tells nothing of its group.
    """
    wanted = {
        "i2c": any(part.bus for part in settings.parts.values()),
        "dialout": any(part.port for part in settings.parts.values()),
        "gpio": bool(settings.buzzer or settings.light or settings.button)
        or any(part.line for part in settings.parts.values()),
        settings.ask.group: True,
    }
    watcher = machine.watcher()
    for group, is_used in wanted.items():
        number = machine.group_id(group)
        if number is None:
            what = f"needs the group {group}, which this machine has not"
            mend = f"`sudo systemd-sysusers`, or `sudo groupadd --system {group}`"
            yield Mistake(file, _GROUP_KEYS.get(group, "ask.group"), what, mend)
        elif is_used and watcher is not None and number not in watcher.groups:
            what = f"needs the group {group}, and the user {watcher.name} is not in it"
            key = _GROUP_KEYS.get(group, "ask.group")
            yield Mistake(file, key, what, _join(watcher, group))
