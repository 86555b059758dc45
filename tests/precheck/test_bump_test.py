"""The test before bed as it is done: on emulated parts, and all that can go wrong."""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import pytest

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.commands.on_wires import BREATH, FRESH, run_on_wires
from cabinvigil.daemon.core.model import Alert, Command
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.precheck.at_hand import run_through, staged
from cabinvigil.daemon.precheck.bump_test import BumpTest, WatchLook
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.nights import Failure
from cabinvigil.daemon.sampling.wiring import Wires
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.span.proofs import CanOfGas

CALM = replace(FRESH, glass_c=14.0)
"""Doors open, and no wet window that would ring on its own account."""
BAG = replace(BREATH, glass_c=14.0)


class Phone:
    """Hears what the watch would tell a phone."""

    name = "phone"

    def __init__(self) -> None:
        self.heard: list[str] = []
        self.sounds: list[str] = []

    def handle(self, command: Command, stamp: Stamp) -> None:
        if isinstance(command, Alert):
            self.heard.append(command.alarm)
        self.sounds.append(getattr(command, "pattern", ""))


@dataclass
class Evening:
    """What a person does with the bag, and what came of it."""

    air: AirNow = CALM
    phone: Phone = field(default_factory=Phone)
    test: BumpTest | None = None
    still: list[str] = field(default_factory=list)
    took_s: float = 0.0
    """From the first look until the bag may be taken away."""


def through_the_test(
    bag: AirNow = BAG,
    *,
    takes_away: AirNow = CALM,
    failures: tuple[Failure, ...] = (),
    ready: Callable[[Evening], bool] = lambda _evening: True,
    afterwards_s: float = 600.0,
    gas: CanOfGas | None = None,
    without: tuple[str, ...] = (),
    parts: Mapping[str, PartSettings] = MappingProxyType({}),
) -> Evening:
    """Do the test, then watch on for a while; alarms named so are left out."""
    settings, evening = example(), Evening()
    alarms = {
        name: alarm
        for name, alarm in settings.alarms.items()
        if name.split("-")[0] not in without
    }
    settings = replace(settings, alarms=alarms, parts={**settings.parts, **parts})

    async def job(wires: Wires, clock: Clock) -> None:
        def with_bag(_prompt: str) -> bool:
            is_ready = ready(evening)
            evening.air = bag
            return is_ready

        def said(_line: str) -> None:
            evening.took_s += clock.monotonic()
            evening.air = takes_away

        async with staged(settings, wires, clock, (evening.phone,)) as watch:
            warm_up_s = max(i.warm_up_s for i in part_infos(settings.parts).values())
            await asyncio.sleep(warm_up_s)
            evening.phone.heard.clear()
            evening.test = BumpTest(settings, watch, said, with_bag, clock.wall, gas)
            evening.took_s -= clock.monotonic()
            try:
                await evening.test.run()
            finally:
                evening.air = takes_away
                await asyncio.sleep(afterwards_s)
                evening.still = [
                    alarm
                    for alarm, one in watch.watcher.state.standings.items()
                    if one.wakes
                ]

    run_on_wires(job, settings, lambda: evening.air, failures=failures)
    return evening


def words_of(evening: Evening, subject: str) -> list[str]:
    assert evening.test is not None
    return [one.word for one in evening.test.findings if one.subject == subject]


def words(evening: Evening) -> dict[str, str]:
    assert evening.test is not None
    return {one.subject: one.word for one in evening.test.findings}


def test_a_bag_of_breath_is_seen_and_no_phone_hears_of_it() -> None:
    """L9: it rang in five seconds, and then sent eight texts."""
    evening = through_the_test()
    assert words(evening) == {"fresh air": "good", "breath": "good"}
    assert evening.test is not None
    assert {one.failed for one in evening.test.proofs} == {""}
    assert evening.took_s < 40.0, "of a person's time"
    assert "temporal-four" in evening.phone.sounds, "that it sounds is half of the test"
    assert evening.phone.heard == []
    assert evening.still == []


def test_a_bag_that_leaks_fails_and_is_over_all_the_same() -> None:
    evening = through_the_test(replace(CALM, o2_pct=19.8, co2_ppm=6000.0))
    assert words(evening)["breath"] == "bad"
    assert evening.phone.heard == []
    assert evening.still == []


def test_a_smoker_is_told_and_passes() -> None:
    evening = through_the_test(replace(BAG, co_ppm=14.0))
    assert evening.test is not None
    found = [(one.subject, one.word) for one in evening.test.findings]
    assert found == [("fresh air", "good"), ("breath", "good"), ("breath", "mind")]


@pytest.mark.hazard("silenced-by-test")
@pytest.mark.parametrize("co_ppm", [150.0, 250.0])
def test_carbon_monoxide_beside_the_bag_is_answered_by_nobody(co_ppm: float) -> None:
    """It was answered with what the bag rang: no phone heard of 250 ppm."""
    cabin = replace(CALM, co_ppm=co_ppm)
    evening = through_the_test(takes_away=cabin, afterwards_s=120.0)
    assert "bad" in words_of(evening, "breath")
    assert "carbon monoxide" in evening.test.findings[-1].text  # type: ignore[union-attr]
    assert "co-level" in evening.phone.heard
    assert evening.test is not None
    assert evening.test.answered == frozenset()


@pytest.mark.hazard("silenced-by-test")
def test_little_oxygen_beside_the_test_gas_is_answered_by_nobody() -> None:
    evening = through_the_test(
        replace(CALM, co_ppm=100.0),
        takes_away=replace(CALM, o2_pct=18.0),
        gas=CanOfGas("co_ppm", 100.0),
        afterwards_s=120.0,
    )
    assert "bad" in words_of(evening, "test gas")
    assert "o2-low" in evening.phone.heard


def test_all_is_over_when_the_test_is() -> None:
    """The sounder's own test comes next, and is refused beside an alarm that wakes."""
    evening = through_the_test(
        replace(CALM, co_ppm=400.0), gas=CanOfGas("co_ppm", 400.0), afterwards_s=0.0
    )
    assert words(evening)["test gas"] == "good"
    assert evening.still == []
    assert evening.phone.heard == []


def test_gas_beyond_a_parts_range_is_judged_at_its_end() -> None:
    """The module ends at 500 ppm: it cannot show 720 of 900, and is none the worse."""
    evening = through_the_test(
        replace(CALM, co_ppm=900.0), gas=CanOfGas("co_ppm", 900.0), afterwards_s=0.0
    )
    assert evening.test is not None
    assert [one.failed for one in evening.test.proofs] == [""]
    assert words_of(evening, "test gas") == ["good", "mind"]
    (told,) = (one.text for one in evening.test.findings if one.word == "mind")
    assert told.startswith("the range of bunk-co ends at 5")
    assert "and the gas has 900: use gas of a lower concentration" in told


def test_a_breath_at_which_nothing_sounds_has_shown_half_of_it() -> None:
    """The sounder's part of the test: its alarms put aside, or limits too lax."""
    evening = through_the_test(without=("o2", "co2", "displaced"))
    assert words_of(evening, "breath") == ["good", "bad"]
    assert evening.test is not None
    assert "nothing sounded" in evening.test.findings[-1].text


def test_a_heater_that_is_still_warm_is_no_fresh_air() -> None:
    evening = Evening(air=replace(CALM, o2_pct=19.8, co_ppm=25.0, co2_ppm=4755.0))
    evening = in_air(evening.air)
    assert words(evening) == {"fresh air": "bad"}
    assert evening.test is not None
    assert evening.test.proofs == []


def in_air(air: AirNow) -> Evening:
    settings, evening = example(), Evening(air=air)

    async def job(wires: Wires, clock: Clock) -> None:
        async with staged(settings, wires, clock) as watch:
            await asyncio.sleep(600.0)
            test = BumpTest(settings, watch, lambda _: None, lambda _: True, clock.wall)
            await test.run()
            evening.test = test

    run_on_wires(job, settings, lambda: evening.air)
    return evening


def test_a_part_unplugged_in_the_middle_fails_and_the_other_passes() -> None:
    evening = through_the_test(failures=(Failure(191.0, 1e9, "bunk-co2", "vanish"),))
    assert evening.test is not None
    failed = {one.part: one.failed for one in evening.test.proofs}
    assert failed["bunk-o2"] == ""
    assert "carbon dioxide" in failed["bunk-co2"]


def test_who_would_rather_not_leaves_nothing_behind() -> None:
    evening = through_the_test(ready=lambda _: False)
    assert words(evening) == {"fresh air": "good", "breath": "not checked"}
    assert evening.test is not None
    assert evening.test.proofs == []


def test_ctrl_c_in_the_middle_ends_the_test_and_keeps_nothing() -> None:
    """Bag on, and away: the phones are told again of what comes."""
    evening = Evening()
    settings = example()

    async def job(wires: Wires, clock: Clock) -> None:
        async with staged(settings, wires, clock) as watch:
            await asyncio.sleep(400.0)

            def interrupted() -> None:
                evening.air = BAG

            class Broken:
                """The watch, at which somebody presses Ctrl-C after five seconds."""

                looks = 0

                async def look(self) -> WatchLook:
                    self.looks += 1
                    if self.looks > 10:
                        raise KeyboardInterrupt
                    return await watch.look()

                ask, wait, monotonic = watch.ask, watch.wait, watch.monotonic

            test = BumpTest(
                settings,
                Broken(),  # type: ignore[arg-type]
                lambda _: None,
                lambda _: interrupted() is None,
                clock.wall,
            )
            with pytest.raises(KeyboardInterrupt):
                await test.run()
            evening.test = test
            until_s = watch.watcher.state.bump.until_s
            assert until_s == float("-inf"), "it is ended"

    run_on_wires(job, settings, lambda: evening.air)
    assert evening.test is not None
    assert evening.test.proofs == []


def test_what_waits_for_nothing_runs_without_a_loop() -> None:
    async def at_once() -> int:
        return 3

    async def waits() -> None:
        await asyncio.sleep(1.0)

    assert run_through(at_once()) == 3
    with pytest.raises(RuntimeError):
        run_through(waits())
