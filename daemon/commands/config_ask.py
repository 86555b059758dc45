"""`config --ask`: a first config by questions, then the plan and a rehearsal to try."""

import os
import shlex
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, TypeVar

from cabinvigil.daemon.air.combustion import mix, power_kw_hhv
from cabinvigil.daemon.ask.socket import NOBODY, typed
from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.commands.base import CallError
from cabinvigil.daemon.commands.config_answers import (
    HOLE,
    UNKNOWN,
    WrongAnswerError,
    at_most,
    read_flame,
    read_fuel,
    read_line,
    read_name,
    read_number,
    read_people,
    read_power,
    read_vent,
    read_volume,
    usual,
    usual_sides,
)
from cabinvigil.daemon.commands.config_draft import BUILDS, draft
from cabinvigil.daemon.commands.on_wires import run_on_wires
from cabinvigil.daemon.parts.scan import Scan, scan
from cabinvigil.daemon.parts.scan_targets import DeviceTree, real_ground
from cabinvigil.daemon.parts.scan_text import compared, suggestions
from cabinvigil.daemon.planning.advice import changes
from cabinvigil.daemon.planning.brief import verdict
from cabinvigil.daemon.planning.figures import cabin_plan, from_config
from cabinvigil.daemon.planning.plan import plan
from cabinvigil.daemon.rehearsal.fitted import LOW_SHARE
from cabinvigil.daemon.sampling.wiring import Wires
from cabinvigil.daemon.settings.config import Settings, example, load
from cabinvigil.daemon.settings.values import Cabin
from cabinvigil.daemon.text.errors import CabinvigilError
from cabinvigil.daemon.text.files import put_whole, remedy
from cabinvigil.daemon.text.units import unit_of
from cabinvigil.daemon.text.units_said import SI, Units, units_named

T = TypeVar("T")
Ask = Callable[[str], str]


class UnansweredError(CabinvigilError):
    """Nobody answered to the end."""

    def __init__(self) -> None:
        super().__init__("not all questions had a reply, so nothing was written")


@dataclass
class Dialog:
    """Asks one thing after the other, and keeps what was only taken for granted."""

    out: IO[str]
    ask: Ask
    units: Units = SI
    """In which it asks, and a bare number stands."""
    granted: dict[str, str] = field(default_factory=dict)
    """By key: how the config says that nobody told it."""
    taken: list[str] = field(default_factory=list)
    """The same, for the account."""

    def say(self, line: str = "") -> None:
        """Print a line."""
        print(line, file=self.out, flush=True)

    def question(
        self,
        words: str,
        usual: str,
        read: Callable[[str], T],
        key: str = "",
        granted: str = "",
    ) -> T:
        """Ask until an answer can be taken.

        Args:
            words: what is asked, with its unit.
            usual: what Enter stands for.
            read: makes a value of the answer, or raises `WrongAnswerError`.
            key: of the config, which then holds a guess.
            granted: names the guess in the account, with {} for the answer.

        Raises:
            UnansweredError: nobody is there.
        """
        while True:
            answer = self.ask(f"{words} [{usual}]: ")
            if answer == NOBODY:
                raise UnansweredError
            try:
                value = read(answer.strip() or usual)
            except WrongAnswerError as error:
                self.say(f"  {error}.")
                continue
            if not answer.strip() and granted:
                self.granted[key] = "assumed"
                self.taken.append(granted.format(usual))
            return value


def make_config(
    file: Path,
    out: IO[str],
    *,
    ask: Ask = typed,
    machine: DeviceTree | None = None,
    units: Units = SI,
) -> None:
    """Ask, write the config, and say what the plan makes of it.

    Args:
        file: where the config goes.
        out: takes what is said.
        ask: asks a person for a line; `NOBODY` where none is there.
        machine: where devices are looked for.
        units: in which it asks; the config is told in them ever after.

    Raises:
        UnansweredError: the questions were not answered to the end.
        CallError: it may not be written, or is there already.
    """
    dialog = Dialog(out, ask, units)
    try:
        _may_write(file, dialog)
        dialog.say(
            "A first config by questions.  Enter accepts the value in brackets; "
            "Ctrl-C ends it, and nothing is written."
        )
        cabin = _cabin(dialog)
        parts, second_line = _parts(dialog, machine)
        line = dialog.question(
            "Sounder: its GPIO line by name, or none",
            "GPIO17",
            read_line,
            "line",
            "sounder at {}",
        )
        text = draft(cabin, dialog.granted, parts, line, second_line)
        settings = _checked(text)
    except KeyboardInterrupt:
        dialog.say()
        raise UnansweredError from None
    _write(file, text, dialog)
    _tell(file, settings, dialog)


# --- the cabin ---------------------------------------------------------------


def _cabin(dialog: Dialog) -> dict[str, object]:
    """Ask for the keys of [cabin]."""
    units = dialog.units
    sign = units.sign
    cabin: dict[str, object] = {"name": dialog.question("Its name", "cabin", read_name)}
    if units is not SI:
        cabin["units"] = units.word
    cabin["volume_m3"] = volume_m3 = dialog.question(
        f"Air volume: in {sign('m3')}, or length x width x height in {sign('m')}",
        usual_sides(units),
        lambda text: read_volume(text, units),
        "volume_m3",
        f"{{}} {sign('m')}, a tenth of it built in",
    )
    cabin["people"] = dialog.question(
        "How many people usually sleep here",
        "2" if volume_m3 >= 2.0 else "1",
        lambda text: read_people(text, volume_m3),
        "people",
        "{} sleepers",
    )
    cabin["altitude_m"] = _figure(
        dialog, "Altitude", "altitude_m", 0.0, "above the sea"
    )
    cabin["outside_c"] = _figure(
        dialog, "Outside temperature to plan for", "outside_c", 0.0, "outside"
    )
    cabin |= _heater(dialog)
    for key, where in (("vent_low_cm2", "floor"), ("vent_high_cm2", "roof")):
        cabin[key] = dialog.question(
            f"Vent near the {where}: free area in {sign('cm2')}, or round holes by "
            f"their diameter, as 2 x {HOLE[units.word]}; 0 for none",
            usual("cm2", 50.0, units),
            lambda text: read_vent(text, units),
            key,
            f"{{}} {sign('cm2')} near the {where}",
        )
    if cabin["vent_low_cm2"] and cabin["vent_high_cm2"]:
        cabin["vent_height_m"] = _figure(
            dialog,
            "Height difference between the two vents",
            "vent_height_m",
            1.2,
            "between the vents",
        )
    return cabin


def _figure(dialog: Dialog, words: str, key: str, enter: float, granted: str) -> float:
    """Ask for a figure of the cabin, in the person's own units.

    Args:
        dialog: asks.
        words: what is asked, without its unit.
        key: of the config; its last word is our unit.
        enter: what Enter stands for, in our unit.
        granted: how a guess is told behind its number.
    """
    unit, units = unit_of(key)[1], dialog.units
    sign = units.sign(unit)
    return dialog.question(
        f"{words}, {sign}",
        usual(unit, enter, units),
        read_number(key, units),
        key,
        f"{{}} {sign} {granted}",
    )


def _heater(dialog: Dialog) -> dict[str, object]:
    fuel = dialog.question(
        "Gas of the heater: propane, butane, isobutane, or propane/butane by mass as "
        "70/30; none without one",
        "propane",
        read_fuel,
        "fuel",
        "{}",
    )
    if not fuel:
        return {"burner_kw": 0.0}
    gas, units = mix(fuel, by="mass"), dialog.units
    power, weight = units.sign("kw"), units.sign("kg")
    by_gas = "lb/h" if units.is_us else "g/h"

    def read(text: str) -> float:
        return read_power(text, lambda kg_h: power_kw_hhv(gas, kg_h), units)

    high_kw = dialog.question(
        f"Heater on high, by its label: power in {power}, or gas in {by_gas}",
        usual("kw", 1.5, units),
        read,
        "burner_kw",
        f"heater of {{}} {power}",
    )
    low_kw = dialog.question(
        f"Heater on low, in {power} or {by_gas}",
        usual("kw", float(f"{high_kw * LOW_SHARE:.3g}"), units),
        lambda text: at_most(read(text), high_kw, units),
        "burner_low_kw",
        f"{{}} {power} on low",
    )
    cylinder_kg = dialog.question(
        f"Gas in a full cylinder, {weight}",
        usual("kg", 5.0, units),
        read_number("cylinder_kg", units),
        "cylinder_kg",
        f"{{}} {weight} of gas",
    )
    height_m = dialog.question(
        f"Height of the flame above the floor, {units.sign('m')}",
        UNKNOWN,
        lambda text: read_flame(text, units),
        "burner_height_m",
        "height of the flame {}",
    )
    shares = next(iter(fuel)) if len(fuel) == 1 else fuel
    flame = {} if height_m is None else {"burner_height_m": height_m}
    return flame | {
        "burner_kw": high_kw,
        "burner_low_kw": low_kw,
        "fuel": shares,
        "cylinder_kg": cylinder_kg,
    }


# --- the parts ---------------------------------------------------------------


def _parts(dialog: Dialog, machine: DeviceTree | None) -> tuple[list[str], str]:
    """Return the lines of what answers here, or of a build that is planned.

    The second value is the line of that build's second sounder, or ''.
    """
    dialog.say("Sensors: what is planned, or what is connected here")
    for word, build in BUILDS.items():
        dialog.say(f"  {word:<9} {build.words}")
    dialog.say("  scan      the sensors that respond on this machine now")
    while True:
        word = dialog.question(
            "Which", "least", _part_word, "part", "sensors of the build '{}'"
        )
        if word != "scan":
            return BUILDS[word].lines, BUILDS[word].second_line
        found = _scanned(machine)
        moving = found.channels.moving
        lines = suggestions(compared(found, None), None, found.devices, moving)
        if any(line.startswith("[part.") for line in lines):
            return lines, ""
        dialog.say("  No known sensor responds here: choose a build.")


def _part_word(text: str) -> str:
    word = text.lower()
    if word not in (*BUILDS, "scan"):
        raise WrongAnswerError(
            f"{text[:40]!r} is none of them: write {', '.join(BUILDS)} or scan"
        )
    return word


def _scanned(machine: DeviceTree | None) -> Scan:
    async def job(_wires: Wires, _clock: Clock) -> Scan:
        ground = real_ground(None, [], machine)
        try:
            return await scan(ground)
        finally:
            ground.close()

    return run_on_wires(job, example())


# --- the file, and what is said at the end -----------------------------------


def _may_write(file: Path, dialog: Dialog) -> None:
    """Refuse a place that takes no file, or has one that is to stay.

    Raises:
        CallError: with one sentence.
    """
    if file.is_dir() or not os.access(file.parent, os.W_OK | os.X_OK):
        raise CallError(f"-o {file}: no file can be written there; name another")
    if file.exists():
        words = f"{file} exists: write over it? yes or no"
        if dialog.question(words, "no", str.lower) != "yes":
            raise CallError(f"{file} is unchanged: name another file with -o")


def _checked(text: str) -> Settings:
    """Read the config as the monitor would, before it is kept.

    Raises:
        ConfigError: the monitor would not take it.
    """
    with tempfile.TemporaryDirectory(prefix="cabinvigil-") as folder:
        file = Path(folder) / "cabin.toml"
        file.write_text(text, encoding="utf-8")
        return load(file)


def _write(file: Path, text: str, dialog: Dialog) -> None:
    try:
        put_whole(file, lambda fresh: fresh.write_text(text, encoding="utf-8"))
    except OSError as error:
        dialog.say(text)  # what was replied is not lost
        raise CallError(
            f"-o {file}: cannot be written ({error.strerror}); {remedy(error)}: the "
            "config is above"
        ) from error


def _tell(file: Path, settings: Settings, dialog: Dialog) -> None:
    """Say what was taken for granted, what the plan makes of it, and what to try."""
    dialog.say()
    name = shlex.quote(str(file))
    dialog.say(f"{file} is written; `cabinvigil config {name}` shows all of it.")
    taken = [*dialog.taken, *_estimated(settings.cabin)]
    dialog.say(f"Assumed: {'; '.join(taken)}.")
    units = units_named(settings.cabin.units)
    planned = plan(cabin_plan(from_config(settings.cabin), units=units))
    dialog.say("The plan for such a night:")
    dialog.say(f"  {verdict(planned)}")
    for sentence in changes(planned):
        dialog.say(f"  {sentence}")
    night = "shut" if settings.cabin.burner_kw else "crowded"
    dialog.say("Try it now, without hardware:")
    dialog.say(f"  cabinvigil rehearse {night} --hours 2 --config {name}")
    dialog.say(f"  cabinvigil precheck --emulated --config {name}")


def _estimated(cabin: Cabin) -> list[str]:
    """Name what was never asked for, and is counted with all the same."""
    found = ["walls and leaks estimated from the volume", "double glazing", "still air"]
    if cabin.zone is None:
        found.append("this machine's time zone")
    return found
