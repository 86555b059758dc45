"""The test before bed at the parts: fresh air, then a bag of breath, or test gas."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

from cabinvigil.daemon.air.atmosphere import pressure_hpa
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.bump import BUMP_S
from cabinvigil.daemon.core.model import ActKind
from cabinvigil.daemon.core.setup import quantity_of
from cabinvigil.daemon.precheck import truth
from cabinvigil.daemon.precheck.findings import Finding, Word
from cabinvigil.daemon.precheck.truth import BACK, BumpTrial
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.span.proofs import BREATH, GAS, By, CanOfGas, Proof

FRESH_LOOKS, LOOK_EVERY_S = 5, 2.0
"""Ten seconds: the noise of one reading is no finding (our choice)."""
STEP_S = 1.0
ANSWER_EVERY_S = 15.0
"""Answers that come more often would be taken for a button that chatters."""
SOUND_S = 60.0
"""In that time a breath sounds: four times the delay of the slowest level's alarm."""
SHOWN_BY_IT = frozenset({"sensor-jump", "sensors-disagree", "stratified"})
"""What breath or gas makes of the parts, beside the alarms about the air."""
SOUNDS_AT_ONCE = frozenset({"gas_lel_pct"})
"""Of these quantities any test gas sounds within `SOUND_S`, as a breath does."""
SILENT = "the sensors saw it, and nothing sounded: check the limits"
SUBJECTS = {BREATH: "breath", GAS: "test gas"}
PROMPTS = {
    BREATH: (
        "Fill a bag with one long breath.  The alarm will sound; no message is "
        "sent.  Press Enter as you hold the bag over the sensors: "
    ),
    GAS: (
        "The alarm will sound; no message is sent.  Press Enter as you hold the test "
        "gas to the sensor: "
    ),
}


@dataclass(frozen=True, slots=True)
class OpenAlarm:
    """An alarm that is active, or waits for an answer."""

    sounds: bool
    wakes: bool


@dataclass(frozen=True, slots=True)
class WatchLook:
    """What the monitor shows at one moment."""

    readings: Mapping[str, float]
    """Fresh values, by series."""
    open: Mapping[str, OpenAlarm]
    at_least: frozenset[str] = frozenset()
    """Those whose part is at the end of its range."""


class WatchAtHand(Protocol):
    """The monitor that runs, as the test needs it."""

    async def look(self) -> WatchLook:
        """Return what it shows now."""

    async def ask(self, verb: str, alarm: str = "", text: str = "") -> str:
        """Have it do something; return why it did not, '' where it did."""

    async def wait(self, for_s: float) -> None:
        """Wait."""

    def monotonic(self) -> float:
        """Return seconds."""


@dataclass
class BumpTest:
    """One test, and what came of it."""

    settings: Settings
    watch: WatchAtHand
    say: Callable[[str], None]
    ready: Callable[[str], bool]
    """Asks the person; false where he would rather not."""
    wall: Callable[[], datetime]
    gas: CanOfGas | None = None
    """None: it is a breath."""
    findings: list[Finding] = field(default_factory=list)
    proofs: list[Proof] = field(default_factory=list)
    """To be kept; none where it was broken off."""
    answered: frozenset[str] = frozenset()
    """What it sounded and that was answered once the parts had come back from it."""

    @property
    def _by(self) -> By:
        return BREATH if self.gas is None else GAS

    def _find(self, word: Word, text: str) -> None:
        self.findings.append(Finding(SUBJECTS[self._by], word, text))

    async def run(self) -> None:
        """Look at the fresh air; where that is seen, take the breath or the gas."""
        looks = []
        for _ in range(FRESH_LOOKS):
            looks.append(await self.watch.look())
            await self.watch.wait(LOOK_EVERY_S)
        readings = [look.readings for look in looks]
        cabin = self.settings.cabin
        standard_hpa = (
            None if cabin.altitude_m is None else pressure_hpa(cabin.altitude_m)
        )
        self.findings += truth.fresh_air(
            readings, self.settings.parts, standard_hpa, cabin.outdoor_co2_ppm
        )
        if any(one.word == "bad" for one in self.findings):
            return
        wanted = truth.subjects(self.settings.parts, self.gas)
        if not wanted:
            self._find("bad", "no sensor measures what it contains")
            return
        if grave := sorted(a for a, one in looks[-1].open.items() if one.wakes):
            self._find("not checked", f"{', '.join(grave)} is open: fix that first")
            return
        places = sorted({one.place for one in wanted})
        for place in places:
            own = [one for one in wanted if one.place == place]
            where = f"At {place or 'the bunk'}: " if len(places) > 1 else ""
            trial = BumpTrial(own, truth.mean_look(readings), self.gas)
            if not await self._at_place(where, trial):
                return

    async def _at_place(self, where: str, trial: BumpTrial) -> bool:
        """Do it where one bag covers all parts; return whether it was done at all."""
        if not self.ready(where + PROMPTS[self._by]):
            self._find("not checked", f"{where}left out")
            return False
        before = frozenset((await self.watch.look()).open)
        why = await self.watch.ask(ActKind.BUMP_TEST.value, text=self._by)
        if why:
            self._find("not checked", where + why)
            return False
        try:
            await self._bump(trial, before)
        finally:
            await self.watch.ask(ActKind.BUMP_END.value)
        return True

    async def _bump(self, trial: BumpTrial, before: frozenset[str]) -> None:
        """Follow it until all have answered and come back."""
        began_s = self.watch.monotonic()
        rang: set[str] = set()
        while not trial.is_over or (self._waits_for_sound(trial) and not rang):
            await self.watch.wait(STEP_S)
            look = await self.watch.look()
            since_s = self.watch.monotonic() - began_s
            trial.see(since_s, look.readings, look.at_least)
            rang |= {a for a, one in look.open.items() if one.sounds} - before
        proofs = trial.proofs(self.wall())
        self.say("Take it away, and leave the doors open: the sensors recover.")
        smoke = None
        if self.gas is None:
            smoke = truth.of_smoke(trial.before, trial.last)
        self.answered |= await self._come_back(trial, before, began_s + BUMP_S)
        self.findings += [truth.told(proofs), *([smoke] if smoke else [])]
        if tops := trial.at_top():
            self._find(
                "mind",
                f"{'; '.join(tops)}: use gas of a lower concentration, which "
                "proves more",
            )
        is_heard = self.gas is None or self.gas.quantity in SOUNDS_AT_ONCE
        if is_heard and trial.has_passed and not rang:
            self._find("bad", SILENT)
        if left := trial.not_back():
            self._find(
                "bad", f"not recovered in time: {'; '.join(left.values())}: air out"
            )
        self.proofs += proofs

    def _waits_for_sound(self, trial: BumpTrial) -> bool:
        """Return whether what all have seen is held on until it sounds.

        Carbon monoxide of few ppm sounds after an hour.
        """
        is_heard = self.gas is None or self.gas.quantity in SOUNDS_AT_ONCE
        return is_heard and trial.has_passed and trial.since_s < SOUND_S

    async def _come_back(
        self, trial: BumpTrial, before: frozenset[str], until_s: float
    ) -> set[str]:
        """Answer what it sounded, once the parts show no gas; wait until that is over.

        What sounds beside it may be a danger of the cabin: that is answered by nobody
        here, and the monitor tells it when the test ends.

        Returns:
            What it sounded and is answered, where nothing else is the matter.
        """
        specs = compose_settings(self.settings, wall=self.wall()).setup.alarms
        about = {one.id: quantity_of(one) for one in specs if one.about_air}
        answer_from_s, answered = float("-inf"), set[str]()
        while (now_s := self.watch.monotonic()) < until_s:
            look = await self.watch.look()
            trial.last = look.readings
            left = trial.not_back()
            rang = {a: one for a, one in look.open.items() if a not in before}
            of_it = {a for a in rang if a in about or a.split("/")[0] in SHOWN_BY_IT}
            grave = {a for a, one in rang.items() if one.wakes}
            sounding = {a for a, one in rang.items() if one.sounds}
            is_it_alone = not left and grave <= of_it
            is_answered = is_it_alone and not sounding
            answered = of_it if is_answered else set()
            if is_answered and not grave:
                break
            gone = {a for a in sounding & grave if about.get(a) in BACK.keys() - left}
            answers = [""] if is_it_alone and sounding else sorted(gone)
            if answers and now_s >= answer_from_s:
                await self.watch.ask(ActKind.ACKNOWLEDGE.value, answers[0])
                answer_from_s = now_s + ANSWER_EVERY_S
            await self.watch.wait(STEP_S)
        return answered
