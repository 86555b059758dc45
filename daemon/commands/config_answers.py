"""What a person answers to `config --ask`, made into the config's own units. Pure."""

import math
import re
from collections.abc import Callable, Mapping

from cabinvigil.daemon.planning.figures import ACCEPTED, asked_in, unit_of_figure
from cabinvigil.daemon.settings.checks import FUELS
from cabinvigil.daemon.text.units import LB_KG
from cabinvigil.daemon.text.units_read import UnitError, typed
from cabinvigil.daemon.text.units_said import SI, Units

BUILT_IN_SHARE = 0.1
"""Of length x width x height: bunks, cupboards and what lies there (our choice)."""
USUAL_SIDES_M = (3.2, 1.7, 1.7)
KG: Mapping[str, float] = {"g": 1e-3, "kg": 1.0, "oz": LB_KG / 16.0, "lb": LB_KG}
"""What a heater's label may weigh its gas in (SP 811: sixteen ounces are a pound)."""
UNKNOWN = "unknown"
"""Stands for a figure that is left out of the config."""
HOLE = {"si": "80 mm", "us": "3 in"}
"""How a hole's diameter is written."""
_HOLES = re.compile(r"(?:(\d{1,2})\s*[x×*]\s*)?([\d.,]+\s*(?:mm|cm|in|inch|inches))")


class WrongAnswerError(ValueError):
    """An answer cannot be taken; the message says what can."""


def read_quantity(text: str, ours: str, units: Units = SI) -> float | None:
    """Read a number that a person typed, with its unit or bare, in our unit.

    Args:
        text: as typed.
        ours: the unit as our keys end.
        units: in which a bare one stands.

    Returns:
        None where it is no number, or of something else than `ours` measures.

    Raises:
        WrongAnswerError: it may mean two things.
    """
    try:
        found = typed(text, ours, units.unit(ours))
    except UnitError as error:
        if error.is_doubt:
            raise WrongAnswerError(f"the input {error}") from None
        return None
    return None if found is None else found.value


def read_number(key: str, units: Units = SI) -> Callable[[str], float]:
    """Return what reads a figure of the cabin within its range."""
    unit = unit_of_figure(key)

    def read(text: str) -> float:
        value = read_quantity(text, unit, units)
        if value is None:
            like = units.given(unit, max(ACCEPTED[key].low, 1.0))
            raise WrongAnswerError(
                f"{text[:40]!r} is not a number in {asked_in(key, units)}: write it "
                f"like {like}"
            )
        return within(key, value, units)

    return read


def within(key: str, value: float, units: Units = SI) -> float:
    """Return a figure of the cabin that can be; the ranges are the plan's."""
    accepted = ACCEPTED[key]
    if not accepted.low <= value <= accepted.high:
        low, found, high = (
            units.given(unit_of_figure(key), one)
            for one in (accepted.low, value, accepted.high)
        )
        told = asked_in(key, units)
        raise WrongAnswerError(f"{found} {told} cannot be: give {low} to {high}")
    return value


def read_name(text: str) -> str:
    """Read the cabin's name, its word on MQTT."""
    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", text) or len(text) > 40:
        raise WrongAnswerError(
            f"{text[:40]!r} is not a name: use small letters, digits and single "
            f"hyphens, like {_as_name(text) or 'cabin'}"
        )
    return text


def _as_name(text: str) -> str:
    """Make of a text the name that was perhaps meant; '' where nothing is left."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:40].rstrip("-")


def read_volume(text: str, units: Units = SI) -> float:
    """Read a volume, or three lengths, of which a tenth is taken for built in."""
    sides = re.split(r"\s*[x×*]\s*", text.strip().lower())
    if len(sides) == 1:
        return read_number("volume_m3", units)(text)
    unit = re.sub(r"^[\d.,\s]+", "", sides[-1])  # of each that has none of its own
    lengths = [
        read_quantity(one if re.search("[a-z]", one) else f"{one} {unit}", "m", units)
        for one in sides
    ]
    known = [one for one in lengths if one is not None]
    if len(known) != 3 or len(lengths) != 3:
        raise WrongAnswerError(
            f"{text[:40]!r} is not a volume: write {units.sign('m3')}, or three "
            f"lengths as {usual_sides(units)}"
        )
    volume_m3 = math.prod(known) * (1.0 - BUILT_IN_SHARE)
    return round(within("volume_m3", volume_m3, units), 1)


def usual(unit: str, value: float, units: Units) -> str:
    """Format what Enter stands for: rounded, where it is converted."""
    return f"{value:g}" if units.unit(unit) == unit else units.figure(unit, value)


def usual_sides(units: Units) -> str:
    """Format the lengths of a usual cabin: of a small van."""
    return " x ".join(usual("m", one, units) for one in USUAL_SIDES_M)


def read_people(text: str, volume_m3: float) -> int:
    """Read how many sleep there, each with a cubic metre at least (as the plan)."""
    most = min(20, math.floor(volume_m3))
    if not re.fullmatch(r"\d{1,2}", text) or not 1 <= int(text) <= most:
        raise WrongAnswerError(
            f"{text[:40]!r} cannot be: give a whole number from 1 to {most}, as many "
            "as this air volume allows"
        )
    return int(text)


def read_fuel(text: str) -> Mapping[str, float]:
    """Read a gas or a mix by mass; empty without a heater."""
    word = text.lower()
    if word == "none":
        return {}
    if word in FUELS:
        return {word: 1.0}
    parts = re.fullmatch(r"(\d{1,3})\s*/\s*(\d{1,3})", word)
    if parts is None or int(parts[1]) + int(parts[2]) != 100:
        raise WrongAnswerError(
            f"{text[:40]!r} is not a gas that is known: write propane, butane, "
            "isobutane, a mix as 70/30, or none"
        )
    shares = {"propane": int(parts[1]) / 100.0, "butane": int(parts[2]) / 100.0}
    return {gas: share for gas, share in shares.items() if share}


def read_power(
    text: str, of_kg_h: Callable[[float], float], units: Units = SI
) -> float:
    """Read a heater's power, or the gas that it uses."""
    weight = re.fullmatch(
        r"([\d.,]+)\s*(g|kg|oz|lb)\s*/\s*h", text.strip(), re.IGNORECASE
    )
    if weight is not None:
        value = read_quantity(weight[1], "")
        kg_h = (value or 0.0) * KG[weight[2].lower()]
        return round(within("burner_kw", of_kg_h(kg_h), units), 3)
    return read_number("burner_kw", units)(text)


def read_flame(text: str, units: Units = SI) -> float | None:
    """Read how high the flame stands; None where nobody knows."""
    if text.lower() in (UNKNOWN, "none"):
        return None
    return read_number("burner_height_m", units)(text)


def at_most(value_kw: float, most_kw: float, units: Units = SI) -> float:
    """Return a power on low that is none above that on high."""
    if value_kw > most_kw:
        low, high = (units.given_said("kw", one) for one in (value_kw, most_kw))
        raise WrongAnswerError(f"{low} is above the {high} on high")
    return value_kw


def read_vent(text: str, units: Units = SI) -> float:
    """Read a free area, or that of round holes, in cm2."""
    holes = _HOLES.fullmatch(text.strip().lower())
    sizes = re.fullmatch(r"[\d.,]+\s*[x×*]\s*[\d.,]+", text.strip().lower())
    if sizes:
        like = f"2 x {HOLE[units.word]}"
        raise WrongAnswerError(
            f"{text[:40]!r} may be two holes or two sides: write round holes as "
            f"{like}, and of a rectangle its area in {units.sign('cm2')}"
        )
    if holes is None:
        return read_number("vent_low_cm2", units)("0" if text == "none" else text)
    across_m = read_quantity(holes[2], "m")
    if across_m is None:
        hole = HOLE[units.word]
        raise WrongAnswerError(f"{text[:40]!r} is not a diameter: write it like {hole}")
    area_cm2 = int(holes[1] or 1) * math.pi / 4.0 * (100.0 * across_m) ** 2
    return round(within("vent_low_cm2", area_cm2, units), 1)


def read_line(text: str) -> str:
    """Read a GPIO line's name; '' for none."""
    if text.lower() == "none":
        return ""
    if not re.fullmatch(r"[A-Za-z0-9_./-]{1,32}", text):
        raise WrongAnswerError(f"{text[:40]!r} is not a line: write it like GPIO17")
    return text
