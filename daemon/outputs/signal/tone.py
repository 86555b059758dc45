"""A line with a tone: a passive sounder on one of the kernel's PWM outputs.

520 Hz, square, wakes sleepers best (check_values sound_520hz), and a buzzer with an
oscillator of its own cannot give it.  The pulses come from the PWM hardware through
the kernel's files, and not from Python: at 520 Hz a thread would have to wake a
thousand times a second, and would waver with every collection and every busy tick.
So a tone needs a PWM name, `pwmchip0/0`, and a GPIO name with a tone is refused.
"""

import errno
import re
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from cabinvigil.daemon.outputs.signal.gpio import (
    LineAlteredError,
    LineCheck,
    LineError,
)

WAKING_TONE_HZ = 520.0
"""Source: check_values sound_520hz (Bruck et al. 2009)."""
LOWEST_HZ, HIGHEST_HZ = 100.0, 5_000.0
"""What small sounders can give at all: common practice, no source."""

_NAME = re.compile(r"(pwmchip\d+)/(\d+)")


def is_tone_name(name: str) -> bool:
    """Return whether a line's name is a PWM channel."""
    return _NAME.fullmatch(name) is not None


class ToneLine:
    """One PWM channel, at half duty while on."""

    def __init__(self, name: str, channel: Path, period_ns: int) -> None:
        self._name = name
        self._channel = channel
        self._period_ns = period_ns
        self._level = False

    def set_tone(self) -> None:
        """Write the tone's period and half of it as duty.

        Raises:
            LineError: the kernel does not take it.
        """
        # Duty first to zero: the kernel refuses a period below the duty that stands.
        for file, value_ns in (
            ("duty_cycle", 0),
            ("period", self._period_ns),
            ("duty_cycle", self._period_ns // 2),
        ):
            _write(self._name, self._channel / file, str(value_ns))

    def set(self, *, on: bool) -> None:
        """Start or stop the tone."""
        _write(self._name, self._channel / "enable", "1" if on else "0")
        self._level = on

    def close(self) -> None:
        """Stop the tone; the channel stays exported, and silent."""
        with suppress(LineError):
            self.set(on=False)

    def self_test(self) -> LineCheck:
        """Read back whether the kernel drives the channel, and with our tone.

        Raises:
            LineAlteredError: another program had set another tone, or none.
            LineError: it cannot be read, or not be set again.
        """
        period_ns, duty_ns = self._read("period"), self._read("duty_cycle")
        if (period_ns, duty_ns) != (self._period_ns, self._period_ns // 2):
            self.set_tone()
            self.set(on=self._level)
            raise LineAlteredError(
                errno.EBUSY,
                f"PWM '{self._name}' was changed from outside (duty {duty_ns} of "
                f"{period_ns} ns) and is set again; find the program that writes "
                f"{self._channel}",
            )
        is_same = (self._read("enable") == 1) == self._level
        return LineCheck.DRIVEN if is_same else LineCheck.NOT_DRIVEN

    def _read(self, file: str) -> int:
        try:
            return int((self._channel / file).read_text("ascii"))
        except (OSError, ValueError) as error:
            raise LineError(
                errno.EIO, f"PWM '{self._name}' cannot be read ({error})"
            ) from error


def open_tone(
    name: str,
    tone_hz: float,
    *,
    root: Path = Path("/sys/class/pwm"),
    pause: Callable[[float], None] | None = None,
) -> ToneLine:
    """Take a PWM channel and set its tone, silent.

    Args:
        name: chip and channel, `pwmchip0/0`.
        tone_hz: 100 to 5000.
        root: where the kernel shows its PWM chips.
        pause: called with 0.1 s while udev hands over a channel that has just been
            exported; None does not wait.

    Raises:
        LineError: no such chip or channel, no permission, or no tone.
    """
    match = _NAME.fullmatch(name)
    if match is None:
        raise LineError(
            errno.EINVAL,
            f"line '{name}' cannot give a tone: name a PWM channel such as "
            f"'pwmchip0/0', or leave tone_hz out",
        )
    if not LOWEST_HZ <= tone_hz <= HIGHEST_HZ:
        raise LineError(
            errno.EINVAL,
            f"a tone of {tone_hz:g} Hz is outside {LOWEST_HZ:g} to {HIGHEST_HZ:g} Hz",
        )
    chip, channel = root / match[1], root / match[1] / f"pwm{match[2]}"
    if not chip.exists():
        raise LineError(
            errno.ENODEV,
            f"PWM '{name}': there is no {chip}; add `dtoverlay=pwm` to the Pi's "
            f"config.txt and restart it",
        )
    if not channel.exists():
        _write(name, chip / "export", match[2])
        for _ in range(20):  # udev needs a moment to hand the new files over
            if pause is None or (channel / "enable").exists():
                break
            pause(0.1)
    line = ToneLine(name, channel, round(1e9 / tone_hz))
    line.set_tone()
    line.set(on=False)
    return line


def _write(name: str, file: Path, text: str) -> None:
    try:
        with file.open("w", encoding="ascii") as out:
            out.write(text)
    except OSError as error:
        remedy = (
            "let the daemon write there: see the tone's drop-in beside the unit"
            if error.errno in {errno.EACCES, errno.EPERM, errno.EROFS}
            else "is the channel's number right?"
        )
        raise LineError(
            error.errno or errno.EIO,
            f"PWM '{name}' cannot be driven by {file} ({error.strerror}); {remedy}",
        ) from error
