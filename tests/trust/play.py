"""Plays one way to be wrong: a span before, the evening's tests, and the night."""

import asyncio
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

from cabinvigil.daemon.clock import VirtualClock
from cabinvigil.daemon.commands.on_wires import BREATH, FRESH
from cabinvigil.daemon.core.model import Command, Priority, Transition
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.precheck.at_hand import StagedWatch, staged
from cabinvigil.daemon.precheck.bump_test import BumpTest
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated_wires import EmulatedWires
from cabinvigil.daemon.rehearsal.play import START_WALL
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.settings.config import Settings, load
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.span.kept import maker
from cabinvigil.daemon.span.proofs import CanOfGas
from cabinvigil.daemon.span.session import SessionError, SpanSession
from cabinvigil.daemon.span.ways import WAYS as SPANNED
from tests.trust.ways import WAYS, See, Way

GASES = {
    "o2": "Oxygen, % at the first word / at the first sound that wakes; limit 19.5",
    "co": "Carbon monoxide, ppm at the first word / at the first sound; limit 70",
}
BEYOND = {"o2": 18.5, "co": 90.0}
"""A per cent of oxygen, 20 ppm of carbon monoxide past the limit (issue text)."""
EVENING, NEVER = "evening", "never"
WARM_S = 1000.0
"""All parts are warm, and a fresh cell has settled."""
TICK_S = 5.0
STEPS_S = 10_000.0
"""Of the night: oxygen falls to 15.4 %, carbon monoxide climbs to 330 ppm."""
O2_PER_H, CO_PER_MIN = 1.9, 2.0
CO2_PER_O2 = 6000.0
"""ppm of carbon dioxide for each per cent of oxygen: 3 of it for 5 of that, as propane
burns."""

CABIN = """
[cabin]
name = "hut"
volume_m3 = 9.0
people = 2
altitude_m = {altitude_m}
[watch]
tick_s = {tick_s}
state_folder = "{folder}"
[i2c.main]
device = "/dev/i2c-1"
"""
PARTS: Mapping[str, str] = {
    "baro": 'kind = "bme280"\nbus = "main"\naddress = 0x76\n',
    "cell": (
        'kind = "o2_cell_ads1115"\nbus = "main"\naddress = 0x48\n'
        'pressure_from = "baro"\ntemperature_from = "baro"\n'
    ),
    "module": 'kind = "frame9_o2"\nport = "{folder}/module"\n',
    "co": (
        'kind = "frame9_co"\nport = "{folder}/co"\ntemperature_from = "baro"\n'
        'humidity_from = "baro"\n'
    ),
    "wall": 'kind = "scd4x"\nbus = "main"\npressure_from = "baro"\n',
    "second": (
        'kind = "frame9_co"\nport = "{folder}/second"\ntemperature_from = "baro"\n'
        'humidity_from = "baro"\n'
    ),
}
MAIN, MORE = {"o2": "cell", "co": "co"}, {"o2": "wall", "co": "second"}


def main_part(way: Way) -> str:
    """Return the part of the gas in this way's cabin."""
    return "module" if way.kind == "frame9_o2" else MAIN[way.gas]


def settings_of(way: Way, folder: Path, *, with_more: bool) -> Settings:
    """Return the cabin of a way, with or without a second part."""
    names = [main_part(way), *([MORE[way.gas]] if with_more else [])]
    if way.kind != "frame9_o2":
        names = ["baro", *names]
    cabin = CABIN.format(altitude_m=way.cabin or "640.0", tick_s=TICK_S, folder=folder)
    parts = "".join(f"[part.{one}]\n{PARTS[one]}" for one in names)
    if "baro" not in names:
        parts = parts.replace('pressure_from = "baro"\n', "")
    path = folder / "cabin.toml"
    path.write_text(cabin + parts.replace("{folder}", str(folder)), "utf-8")
    return load(path)


class WrongWires(EmulatedWires):
    """Emulated wires on which one part sees something else."""

    wrong: Mapping[str, See]

    def attach(self, settings: Mapping[str, PartSettings]) -> None:
        """Hang every part in what it sees."""
        true = self.air
        for name, part in settings.items():
            self.seed += 1
            self.air = partial(self._seen, name, true)
            super().attach({name: part})

    def _seen(self, name: str, true: Any) -> AirNow:
        air: AirNow = true()
        return self.wrong[name](air, self.now()) if name in self.wrong else air


@dataclass
class Night:
    """What was heard in it: the true gas at the first word, and at the first sound."""

    gas: str
    air: AirNow = FRESH
    word: str = NEVER
    wake: str = NEVER
    name: str = "night"
    listens: bool = False
    before: set[str] = field(default_factory=set)

    def handle(self, command: Command, _stamp: Stamp) -> None:
        """Hear of an alarm that began."""
        if (
            not isinstance(command, Transition)
            or command.state.value != "unacknowledged"
        ):
            return
        if not self.listens:
            self.before.add(command.alarm)
            return
        if command.alarm.startswith("condensing"):
            return
        shown = (
            f"{self.air.o2_pct:.1f}" if self.gas == "o2" else f"{self.air.co_ppm:.0f}"
        )
        if self.word == NEVER:
            self.word = shown
        if self.wake == NEVER and command.priority >= Priority.MEDIUM:
            self.wake = shown


@dataclass
class Row:
    """One way, and what became of it in each setup."""

    way: Way
    cells: list[tuple[str, str]]
    """First word and first sound: alone without tests, alone, beside one more."""

    @property
    def is_beyond(self) -> bool:
        """Return whether a tested setup lets it go too far."""
        return any(_is_beyond(self.way.gas, wake) for _, wake in self.cells[1:])


def _is_beyond(gas: str, wake: str) -> bool:
    if wake == EVENING:
        return False
    if wake == NEVER:
        return True
    return float(wake) < BEYOND[gas] if gas == "o2" else float(wake) > BEYOND[gas]


def rows(gas: str, words: list[str]) -> Iterator[Row]:
    """Play every way of a gas whose name has one of the words, or all."""
    for way in WAYS:
        if way.gas != gas or (words and not any(word in way.name for word in words)):
            continue
        cells = [
            play(way, with_more=False, is_tested=False),
            play(way, with_more=False, is_tested=True),
            play(way, with_more=True, is_tested=True),
        ]
        yield Row(way, cells)


def play(way: Way, *, with_more: bool, is_tested: bool) -> tuple[str, str]:
    """Play one setup; return the first word and the first sound that wakes."""
    with tempfile.TemporaryDirectory(prefix="cabinvigil-") as name:
        folder = Path(name)
        settings = settings_of(way, folder, with_more=with_more)
        run_virtual(_span(settings, folder, {}, timedelta(days=-21)))
        wrong = {way.part or main_part(way): way.see()}
        if is_tested and way.since_evening:
            said = run_virtual(_span(settings, folder, wrong, timedelta(hours=-1)))
            if said:
                return EVENING, EVENING
        return run_virtual(_night(way, settings, folder, is_tested=is_tested))


def _wires(
    settings: Settings, folder: Path, wrong: Mapping[str, See], night: Night
) -> WrongWires:
    loop = asyncio.get_running_loop()
    ports = folder / "ports"
    ports.mkdir(exist_ok=True)
    wires = WrongWires(ports, lambda: night.air, loop.time, loop.call_at, 1)
    wires.wrong = wrong
    wires.attach(settings.parts)
    return wires


async def _span(
    settings: Settings, folder: Path, wrong: Mapping[str, See], when: timedelta
) -> str:
    """Span every part that can be, in fresh air; return what was refused."""
    clock = VirtualClock(asyncio.get_running_loop(), START_WALL + when)
    wires = _wires(settings, folder, wrong, Night("o2"))
    names = tuple(
        name
        for name, part in settings.parts.items()
        if part.kind in SPANNED
        and SPANNED[part.kind].kept
        and not SPANNED[part.kind].on_part
    )
    try:
        await asyncio.sleep(WARM_S)
        if not names:
            return ""
        session = SpanSession(
            settings, names, folder, None, False, lambda _: None, lambda _: "", True
        )
        outcome = await session.run(wires.wires(), clock)
    except SessionError as error:  # a part that gives nothing, told before bed
        return str(error)
    finally:
        wires.close()
    return "; ".join(one.refused for one in outcome.parts if one.refused)


async def _night(
    way: Way, settings: Settings, folder: Path, *, is_tested: bool
) -> tuple[str, str]:
    """Test the parts, and sleep."""
    clock = VirtualClock(asyncio.get_running_loop(), START_WALL)
    night = Night(way.gas)
    wrong: dict[str, See] = {}
    part, see = way.part or main_part(way), way.see()
    if way.since_evening:
        wrong[part] = see
    wires = _wires(settings, folder, wrong, night)
    try:
        await asyncio.sleep(WARM_S)  # they have been on for weeks
        async with staged(
            settings,
            wires.wires(),
            clock,
            (night,),
            lambda watcher: maker(folder, watcher.on_event),
        ) as watch:
            await asyncio.sleep(WARM_S)
            if is_tested and not await _passes(settings, watch, night, clock):
                return EVENING, EVENING
            night.listens = True
            for alarm, one in watch.watcher.state.standings.items():
                # What stands as they lie down was told before bed.
                if one.stands and one.wakes and not alarm.startswith("condensing"):
                    return EVENING, EVENING
            wrong[part] = see
            await _sleep(night)
    finally:
        wires.close()
    return night.word, night.wake


async def _passes(
    settings: Settings, watch: StagedWatch, night: Night, clock: VirtualClock
) -> bool:
    """Do the evening's test: a breath, and gas where carbon monoxide is measured."""
    for gas in (None, CanOfGas("co_ppm", 100.0)):
        bag = BREATH if gas is None else replace(FRESH, co_ppm=gas.amount)
        has_co = any(key.startswith("co_ppm") for key in watch.watcher.numbers())
        has_o2 = any(key.startswith("o2_pct") for key in watch.watcher.numbers())
        if not (has_o2 if gas is None else has_co):
            continue

        def ready(_prompt: str, bag: AirNow = bag) -> bool:
            night.air = bag
            return True

        def said(_line: str) -> None:
            night.air = FRESH

        test = BumpTest(settings, watch, said, ready, clock.wall, gas)
        await test.run()
        night.air = FRESH
        if any(one.word == "bad" for one in test.findings):
            return False
        await asyncio.sleep(600.0)
    return True


async def _sleep(night: Night) -> None:
    """Let the air go bad, until it has woken somebody."""
    for _ in range(round(STEPS_S / TICK_S)):
        air = night.air
        if night.gas == "o2":
            o2_pct = air.o2_pct - O2_PER_H * TICK_S / 3600.0
            night.air = replace(
                air,
                o2_pct=o2_pct,
                co2_ppm=FRESH.co2_ppm + CO2_PER_O2 * (FRESH.o2_pct - o2_pct),
                rh_pct=min(95.0, air.rh_pct + 0.02),
            )
        else:
            co_ppm = air.co_ppm + CO_PER_MIN * TICK_S / 60.0
            night.air = replace(air, co_ppm=co_ppm)
        await asyncio.sleep(TICK_S)
        if night.wake != NEVER:
            return
