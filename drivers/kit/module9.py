"""What gas modules with 9-byte frames share: modes, asking, telling frames apart."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from cabinvigil.drivers.kit import frame9
from cabinvigil.drivers.kit import options as opt
from cabinvigil.drivers.kit.frames import Stream
from cabinvigil.drivers.kit.steps import Sample, WrongPartError

SET_MODE = 0x78
MODE_BYTES = {"upload": 0x40, "question": 0x41}
"""Send by itself once a second, or answer when asked (ZE07-CO v1.2 p. 5, tables 5 and
6).  Another family has other bytes (04 for question, in a public driver of the ZE03),
so the byte can be set in the config."""

MODE_OPTIONS = {
    "mode": "'upload' (sends by itself, the default) or 'question' (is asked)",
    "mode_byte": "the byte behind 78 that sets this mode, if not 64 or 65 (40, 41 hex)",
}


@dataclass(frozen=True, slots=True)
class ModuleGas:
    """What a module's frames say of its gas."""

    code: int
    unit: int
    words: str
    answer_step: float
    """Answers carry no decimals: the value of one count.  0: no answer is read."""
    full_scale: float
    """The end of the range, which answers do not tell either."""


@dataclass(frozen=True, slots=True)
class Mode:
    """How the module is run."""

    asked: bool
    set_byte: int

    @property
    def setting(self) -> bytes:
        """The frame that sets this mode."""
        return frame9.spell(SET_MODE, self.set_byte)


def says_gas(options: Mapping[str, Any]) -> bool:
    """Return whether the frames name their gas: those sent unasked do, replies not."""
    return bool(options.get("mode", "upload") == "upload")


def mode_of(options: Mapping[str, Any]) -> Mode:
    """Read the mode from the options.

    Raises:
        ValueError: an option is wrong.
    """
    word = opt.choice(options, "mode", "upload", MODE_BYTES)
    byte = opt.number(options, "mode_byte", MODE_BYTES[word], 0, 255)
    if byte != int(byte):
        raise ValueError(f"mode_byte: {byte:g} is not a whole number")
    return Mode(word == "question", int(byte))


class GasModule:
    """A module that sends or answers with 9-byte frames; see `StreamPart`.

    What it sends by itself is read in either mode: after a brown-out a module is back
    in the mode it was made with (sensor notes, section 14, row 14).  An answer, which
    does not name its gas, is read only where one was asked for.
    """

    def __init__(
        self,
        gas: ModuleGas,
        mode: Mode,
        judge: Callable[[float, float], list[Sample]],
    ) -> None:
        """Take `judge(value, full_scale)`."""
        self._gas, self._mode, self._judge = gas, mode, judge
        self._stream = Stream(frame9.hunter, self._read)

    def opening(self) -> bytes:
        """Set the mode."""
        self._stream.restart()
        return self._mode.setting

    def request(self) -> bytes:
        """Ask for the value, in question mode."""
        return frame9.spell(frame9.READ) if self._mode.asked else b""

    def feed(self, data: bytes) -> list[Sample]:
        """Take bytes in any chunking; see `StreamPart`.

        Raises:
            DriverError: the first thing wrong since the last call.
        """
        return self._stream.feed(data)

    def _read(self, frame: bytes) -> list[Sample]:
        if frame[1] in frame9.ACKNOWLEDGED:
            return []
        if frame[1] == frame9.READ and not self._mode.asked:
            raise WrongPartError("it sends replies unasked, and a reply names no gas")
        gas = self._gas
        if frame[1] == frame9.READ:
            counts = frame9.answer_value(frame)
            frame9.sound(counts, gas.full_scale / gas.answer_step)
            return self._judge(counts * gas.answer_step, gas.full_scale)
        upload = frame9.decode_upload(frame)
        frame9.expect_gas(upload, gas.code, gas.unit, gas.words)
        if self._mode.asked and not math.isclose(upload.step, gas.answer_step):
            raise WrongPartError(
                f"its own frames count by {upload.step:g}, its replies should count "
                f"by {gas.answer_step:g}: it is of another family than the config says"
            )
        return self._judge(upload.value, upload.full_scale)
