"""One session of spanning: look, judge the air, work out, act on parts, keep."""

import asyncio
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from cabinvigil.daemon.air.atmosphere import pressure_hpa
from cabinvigil.daemon.air.figures import FRESH_CO2_PPM
from cabinvigil.daemon.clock import EARLIEST, Clock
from cabinvigil.daemon.sampling.bus_errors import BusError
from cabinvigil.daemon.sampling.collector import SampleCollector
from cabinvigil.daemon.sampling.sampler import run_steps
from cabinvigil.daemon.sampling.sampler_pool import sampling
from cabinvigil.daemon.sampling.wiring import MakeCodec, Wires
from cabinvigil.daemon.settings.config import PartSettings, Settings
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.series import AIR_PARTS
from cabinvigil.daemon.span import kept as kept_spans
from cabinvigil.daemon.span.doubts import doubts
from cabinvigil.daemon.span.fresh_air import (
    Given,
    air_of,
    is_fresh,
    look_at,
)
from cabinvigil.daemon.span.kept import Span, SpansFile
from cabinvigil.daemon.span.outcome import Outcome, PartOutcome
from cabinvigil.daemon.span.ways import (
    SECOND_YES_PPM,
    WAYS,
    line_bytes,
    target_ppm,
    transfers,
)
from cabinvigil.daemon.text.durations import seconds
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode
from cabinvigil.daemon.text.units_said import Units, units_named
from cabinvigil.drivers.kit.quantity import OUTSIDE_PLACES, QUANTITIES
from cabinvigil.drivers.kit.steps import DriverError, PartInfo

LOOK_S = 180.0
"""Usual length of a look: what the SCD4x asks for (v1.1 p. 12)."""
TELL_EVERY_S = 60.0
GIVE_UP_S = 30.0
"""What is at fault since its start and has given nothing by then is not waited for:
three tries and more, and longer than any part's first reading but a slow CO2 part's,
which is at no fault meanwhile (our choice)."""
AGAIN_S = 30.0
"""Look again for so long at a part that was recalibrated: six of its readings."""
MOVE_IT = "move it"


class SessionError(CabinvigilError, RuntimeError):
    """The session cannot go on; the message says why, and the mend."""

    exit_code = ExitCode.MACHINE_FAILED


@dataclass
class SpanSession:
    """What is wanted, and whom to tell and to ask."""

    settings: Settings
    names: tuple[str, ...]
    """The parts to span."""
    folder: Path | None
    """Where spans are kept; None keeps nothing."""
    look_s: float | None
    """None: as long as the parts need."""
    only_look: bool
    say: Callable[[str], None]
    ask: Callable[[str], str]
    is_quick: bool = False
    """Time is virtual: nobody waits, so nobody is told how long it still takes."""

    @property
    def _units(self) -> Units:
        return units_named(self.settings.cabin.units)

    async def run(self, wires: Wires, clock: Clock) -> Outcome:
        """Span the parts on these wires.

        Raises:
            SessionError: the clock is wrong, or nothing answers.
            SpansError: what is kept cannot be read.
            OSError: the state folder does not take it.
        """
        if clock.wall() < EARLIEST:
            raise SessionError(
                f"the clock says {clock.wall():%Y-%m-%d}: set it first; a calibration "
                "needs its date"
            )
        kept = [] if self.folder is None else SpansFile(self.folder).load()
        earlier = {
            name: kept_spans.of_part(kept, name, part.kind, part.in_service)
            for name, part in self.settings.parts.items()
        }
        looker = SampleCollector(clock)
        since_s = await self._look(looker, wires, clock, earlier)
        gave = self._gave(looker, since_s)
        if not gave:
            faults = "; ".join(fault.text for fault in looker.faults.values())
            raise SessionError(
                f"no sensor has given a reading: {faults or 'no fault reported'}"
            )
        altitude_m = self.settings.cabin.altitude_m
        standard_hpa = None if altitude_m is None else pressure_hpa(altitude_m)
        outdoor_ppm = self.settings.cabin.outdoor_co2_ppm
        air = air_of(gave, standard_hpa)
        setting = frozenset(
            name for name in self.names if WAYS[self.settings.parts[name].kind].kept
        )
        outcome = Outcome(
            look_at(gave, setting, air, outdoor_ppm, self._units),
            air,
            earlier=earlier,
            at=clock.wall(),
            only_looked=self.only_look,
        )
        if is_fresh(outcome.saw):
            self._work_out(outcome, looker, since_s)
            self._doubt(outcome)
            if not self.only_look:
                await self._recalibrate(outcome, wires, clock)
                self._keep(outcome, clock)
        return outcome

    # --- looking --------------------------------------------------------------

    async def _look(
        self,
        looker: SampleCollector,
        wires: Wires,
        clock: Clock,
        earlier: Mapping[str, list[Span]],
    ) -> float:
        """Sample everything; return from which moment on it counts."""
        infos = part_infos({n: self.settings.parts[n] for n in self.names})
        look_s = LOOK_S if self.look_s is None else self.look_s
        look_s = max([look_s, *(self._least_s(name) for name in self.names)])
        # Since the machine has its power, and the parts with it.
        up_s = clock.monotonic()
        warm_s = max(info.warm_up_s for info in infos.values())
        total_s = look_s + max(0.0, warm_s - up_s)
        warming_s = total_s - look_s
        first = f", after {_length(warming_s)} to warm up" if warming_s else ""
        self.say(f"The sensors measure the air for {_length(look_s)}{first}.")
        raw = self._raw(earlier)
        async with sampling(self.settings, looker, clock, wires, raw, restarts=False):
            await asyncio.sleep(min(GIVE_UP_S, total_s))
            dead = self._dead(looker)
            left_s = 0.0 if dead else total_s - min(GIVE_UP_S, total_s)
            while left_s > 0.0:
                await asyncio.sleep(min(TELL_EVERY_S, left_s))
                left_s -= TELL_EVERY_S
                if left_s > 0.0 and not self.is_quick:
                    self.say(f"  {_length(left_s)} left")
        if dead:
            raise SessionError(f"no sensor has given a reading: {dead}")
        return up_s + total_s - look_s

    def _dead(self, looker: SampleCollector) -> str:
        """Return what is at fault where that is each part to be spanned, or its bus."""
        has_given = {name for name, _ in looker.readings}
        why: dict[str, None] = {}
        for name in self.names:
            bus = self.settings.parts[name].bus
            fault = looker.faults.get(name) or looker.faults.get(bus or "")
            if name in has_given or fault is None:
                return ""
            why[fault.text] = None
        return "; ".join(why)

    def _least_s(self, name: str) -> float:
        way = WAYS[self.settings.parts[name].kind]
        return way.run_s if way.on_part else 0.0

    def _raw(self, earlier: Mapping[str, list[Span]]) -> MakeCodec:
        """Make raw codecs for what is spanned, and usual ones for the rest."""

        def make(name: str, part: PartSettings, info: PartInfo) -> Any:
            if name in self.names:
                return WAYS[part.kind].raw(info, part.options)
            own = earlier[name]
            return info.make({**part.options, **kept_spans.options_of(own)})

        return make

    def _gave(self, looker: SampleCollector, since_s: float) -> dict[str, list[Given]]:
        """Gather what parts where people breathe gave; those made for it go first."""
        gave: dict[str, list[Given]] = {}
        warm = []
        for name, quantity in looker.readings:
            part = self.settings.parts[name]
            if part.place in OUTSIDE_PLACES or quantity not in QUANTITIES:
                continue
            values = looker.values(name, quantity, since_s)
            if not values:
                continue
            warms_itself = (
                any((name, other) in looker.readings for other in AIR_PARTS)
                or name in self.names
            )
            if warms_itself and quantity in ("temp_c", "rh_pct"):
                warm.append((quantity, Given(name, values)))
            else:
                gave.setdefault(quantity, []).append(Given(name, values))
        for quantity, given in warm:
            gave.setdefault(quantity, []).append(given)
        return gave

    # --- working out ----------------------------------------------------------

    def _work_out(
        self, outcome: Outcome, looker: SampleCollector, since_s: float
    ) -> None:
        outdoor_ppm = self.settings.cabin.outdoor_co2_ppm or FRESH_CO2_PPM
        for name in self.names:
            part = self.settings.parts[name]
            way, own = WAYS[part.kind], outcome.earlier[name]
            result = PartOutcome(name, part.kind)
            outcome.parts.append(result)
            readings = looker.values(name, way.quantity, since_s)
            fault = looker.faults.get(name) or looker.faults.get(part.bus or "")
            if not readings and fault is not None:
                result.refused = fault.text
                continue
            options = {**part.options, **kept_spans.options_of(own)}
            if way.on_part:
                told_hpa = (
                    outcome.air.measured_hpa
                    if "pressure_hpa" in part.informed_by
                    else None
                )
                target = target_ppm(part.kind, outdoor_ppm, told_hpa)
                options["target_ppm"] = target
            first = own[0].signal if own else None
            try:
                result.found = way.take(options, readings, outcome.air, first)
            except DriverError as error:
                result.refused = str(error)

    def _doubt(self, outcome: Outcome) -> None:
        """Refuse what nothing explains, and have the rest confirmed once more."""
        for part in outcome.parts:
            way, found = WAYS[part.kind], part.found
            if found is None or part.refused or not way.kept or way.on_part:
                continue
            own = outcome.earlier[part.name]
            info = part_infos({part.name: self.settings.parts[part.name]})[part.name]
            found_doubts = doubts(
                part.name,
                way.quantity,
                found,
                outcome.air,
                own,
                outcome.at,
                info.range_c,
                self._units,
            )
            refusals = [one.text for one in found_doubts if one.is_refusal]
            asks = "; ".join(one.text for one in found_doubts)
            if refusals:
                part.refused = refusals[0]
            elif asks and self.only_look:
                part.found = replace(found, warnings=(*found.warnings, asks))
            elif asks and not self._is_sure(f"{part.name}: {asks}"):
                part.refused = f"{asks}, and that was not confirmed"

    # --- on the part itself ---------------------------------------------------

    async def _recalibrate(self, outcome: Outcome, wires: Wires, clock: Clock) -> None:
        acted = []
        for part in outcome.parts:
            way, found = WAYS[part.kind], part.found
            if not way.on_part or found is None or found.correction_ppm is None:
                continue
            moved = found.correction_ppm
            far = f"{part.name} would be moved by {moved:+.0f} ppm, which is a lot"
            if abs(moved) > SECOND_YES_PPM and not self._is_sure(far):
                part.refused = (
                    f"it would be moved by {moved:+.0f} ppm, and that was not confirmed"
                )
                continue
            try:
                if way.on_part == "steps":
                    await self._by_steps(part.name, found.after, wires)
                else:
                    await self._by_bytes(part.name, wires)
            except (DriverError, BusError, TimeoutError) as error:
                part.refused = f"its recalibration failed: {error}"
            else:
                acted.append(part)
        if acted:
            await self._look_again(acted, wires, clock)

    def _is_sure(self, doubt: str) -> bool:
        self.say(f"{doubt}; if it is right, type:  {MOVE_IT}")
        return self.ask("> ").casefold().split() == MOVE_IT.split()

    async def _by_steps(self, name: str, to_ppm: float, wires: Wires) -> None:
        part = self.settings.parts[name]
        bus_name = part.bus or ""
        bus = wires.i2c(bus_name, self.settings.i2c[bus_name].device)
        try:
            await run_steps(bus, part.address or 0, transfers(part.kind, to_ppm))
        finally:
            bus.close()

    async def _by_bytes(self, name: str, wires: Wires) -> None:
        part = self.settings.parts[name]
        baud = part_infos({name: part})[name].baud
        port = wires.serial(name, part, baud)(lambda _data: None, lambda _error: None)
        await port.open()
        try:
            port.write(line_bytes(part.kind))
            await asyncio.sleep(1.0)
        finally:
            await port.close()

    async def _look_again(
        self, acted: list[PartOutcome], wires: Wires, clock: Clock
    ) -> None:
        """See what the parts show now: a recalibration that did not take is told."""
        looker = SampleCollector(clock)
        self.say(f"They measure again for {_length(AGAIN_S)}.")
        async with sampling(self.settings, looker, clock, wires, restarts=False):
            await asyncio.sleep(AGAIN_S)
        for part in acted:
            found = part.found
            values = looker.values(part.name, WAYS[part.kind].quantity)
            if found is None or not values:
                part.refused = "it has given no reading since it was recalibrated"
                continue
            part.measured = math.fsum(values[-3:]) / len(values[-3:])
            if abs(part.measured - found.after) > SECOND_YES_PPM / 2.0:
                part.refused = (
                    f"it shows {part.measured:.0f} ppm after it was set to "
                    f"{found.after:.0f}: the recalibration failed"
                )

    # --- keeping --------------------------------------------------------------

    def _keep(self, outcome: Outcome, clock: Clock) -> None:
        outcome.spans = new = [
            Span(
                part.name,
                part.kind,
                outcome.at,
                part.found.signal,
                part.found.unit,
                part.found.before,
                part.found.after if part.measured is None else part.measured,
                outcome.air.temp_c,
                outcome.air.measured_hpa,
                outcome.air.rh_pct,
                part.found.options,
                void=f"refused: {part.refused}" if part.refused else "",
            )
            for part in outcome.parts
            if part.found is not None and WAYS[part.kind].kept
        ]
        if self.folder is None or not new:
            return
        SpansFile(self.folder).add(new, clock.wall(), clock.monotonic())
        counts = [span for span in new if not span.void]
        outcome.kept_in = self.folder if counts else None
        outcome.earlier = {
            name: [*own, *(span for span in counts if span.part == name)]
            for name, own in outcome.earlier.items()
        }


def _length(length_s: float) -> str:
    return seconds(length_s, below_s=120.0)
