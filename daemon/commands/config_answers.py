"""What a person answers to `config --ask`, made into the config's own units. Pure."""

import math
import re
from collections.abc import Callable, Mapping

from cabinvigil.daemon.planning.figures import ACCEPTED
from cabinvigil.daemon.settings.checks import FUELS
from cabinvigil.daemon.text.units_read import UnitError, typed

BUILT_IN_SHARE = 0.1
"""Of length x width x height: bunks, cupboards and what lies there (own choice)."""
G_PER_KG = 1000.0
_HOLES = re.compile(r"(?:(\d{1,2})\s*[x×*]\s*)?([\d.,]+\s*(?:mm|cm|in|inch))")


class WrongAnswerError(ValueError):
    """An answer cannot be taken; the message says what can."""


def read_quantity(text: str, ours: str) -> float | None:
    """Read a number that a person typed, with its unit or bare, in our unit.

    Returns:
        None where it is no number, or of something else than `ours` measures.

    Raises:
        WrongAnswerError: it may mean two things.
    """
    try:
        found = typed(text, ours)
    except UnitError as error:
        if error.is_doubt:
            raise WrongAnswerError(f"the answer {error}") from None
        return None
    return None if found is None else found.value


def read_number(key: str, unit: str) -> Callable[[str], float]:
    """Return what reads a figure of the cabin within its range."""

    def read(text: str) -> float:
        value = read_quantity(text, unit)
        if value is None:
            accepted = ACCEPTED[key]
            raise WrongAnswerError(
                f"{text[:40]!r} is no number in {accepted.unit}: write it like "
                f"{max(accepted.low, 1.0):g}"
            )
        return within(key, value)

    return read


def within(key: str, value: float) -> float:
    """Return a figure of the cabin that can be; the ranges are the plan's."""
    accepted = ACCEPTED[key]
    if not accepted.low <= value <= accepted.high:
        raise WrongAnswerError(
            f"{value:g} {accepted.unit} cannot be: give {accepted.low:g} to "
            f"{accepted.high:g}"
        )
    return value


def read_name(text: str) -> str:
    """Read the cabin's name, its word on MQTT."""
    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", text) or len(text) > 40:
        raise WrongAnswerError(
            f"{text[:40]!r} is no name: use small letters, digits and single hyphens"
        )
    return text


def read_volume(text: str) -> float:
    """Read a volume, or three lengths, of which a tenth is taken for built in."""
    sides = re.split(r"\s*[x×*]\s*", text.strip().lower())
    if len(sides) == 1:
        return read_number("volume_m3", "m3")(text)
    unit = re.sub(r"^[\d.,\s]+", "", sides[-1])  # of each that has none of its own
    lengths = [
        read_quantity(one if re.search("[a-z]", one) else f"{one} {unit}", "m")
        for one in sides
    ]
    known = [one for one in lengths if one is not None]
    if len(known) != 3 or len(lengths) != 3:
        raise WrongAnswerError(
            f"{text[:40]!r} is no volume: write m3, or three lengths as 3.2 x 1.7 x 1.7"
        )
    return round(within("volume_m3", math.prod(known) * (1.0 - BUILT_IN_SHARE)), 1)


def read_people(text: str, volume_m3: float) -> int:
    """Read how many sleep there, each with a cubic metre at least (as the plan)."""
    most = min(20, math.floor(volume_m3))
    if not re.fullmatch(r"\d{1,2}", text) or not 1 <= int(text) <= most:
        raise WrongAnswerError(
            f"{text[:40]!r} cannot be: give a whole number from 1 to {most}, which is "
            "what this air space has berths for"
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
            f"{text[:40]!r} is no gas that is known: write propane, butane, isobutane, "
            "a mix as 70/30, or none"
        )
    shares = {"propane": int(parts[1]) / 100.0, "butane": int(parts[2]) / 100.0}
    return {gas: share for gas, share in shares.items() if share}


def read_power(text: str, of_kg_h: Callable[[float], float]) -> float:
    """Read a heater's power, or the gas that it uses."""
    grams = re.fullmatch(r"([\d.,]+)\s*(g|kg)\s*/\s*h", text.strip(), re.IGNORECASE)
    if grams is not None:
        value = read_quantity(grams[1], "")
        kg_h = (value or 0.0) / (G_PER_KG if grams[2].lower() == "g" else 1.0)
        return round(within("burner_kw", of_kg_h(kg_h)), 3)
    return read_number("burner_kw", "kw")(text)


def at_most(value: float, most: float) -> float:
    """Return a power on low that is none above that on high."""
    if value > most:
        raise WrongAnswerError(f"{value:g} kW is above the {most:g} kW on high")
    return value


def read_vent(text: str) -> float:
    """Read a free area in cm2, or that of round holes."""
    holes = _HOLES.fullmatch(text.strip().lower())
    if holes is None:
        return read_number("vent_low_cm2", "cm2")("0" if text == "none" else text)
    across_m = read_quantity(holes[2], "m")
    if across_m is None:
        raise WrongAnswerError(f"{text[:40]!r} is no diameter: write it like 80 mm")
    area_cm2 = int(holes[1] or 1) * math.pi / 4.0 * (100.0 * across_m) ** 2
    return round(within("vent_low_cm2", area_cm2), 1)


def read_line(text: str) -> str:
    """Read a GPIO line's name; '' for none."""
    if text.lower() == "none":
        return ""
    if not re.fullmatch(r"[A-Za-z0-9_./-]{1,32}", text):
        raise WrongAnswerError(f"{text[:40]!r} is no line: write it like GPIO17")
    return text
