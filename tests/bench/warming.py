"""A cold cabin that is heated, and an oxygen cell that warms unevenly.

Run: `python -m tests.bench.warming [PLAYS [SEED]]` (200 plays: some ten minutes).  A
galvanic cell's membrane and its thermistor warm minutes apart, and meanwhile the cell
reads wrong, to either side.  Each play heats the cabin to 20 °C within an hour, from
one of four temperatures, vents open or shut, and is heard by the whole watch: emulated
wires, drivers, rules.  Told are the plays in which another gas was called for none, and
how much oxygen there truly was when `o2-low` rang, or that it never did.
"""

import itertools
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path
from random import Random

from cabinvigil.daemon.air.moisture import rh_pct, vapour_hpa
from cabinvigil.daemon.core.model import AlarmState, Command, Transition
from cabinvigil.daemon.rehearsal.cabin import EmulatedCabin, Truth
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.cells import GalvanicO2Cell
from cabinvigil.daemon.rehearsal.emulated.ways import Lag
from cabinvigil.daemon.rehearsal.emulated_wires import SEED_STEP
from cabinvigil.daemon.rehearsal.narrator import LineWriter
from cabinvigil.daemon.rehearsal.nights import NamedNight, NightChange, NightSetting
from cabinvigil.daemon.rehearsal.play import START_WALL, Rehearsal, play
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.settings.config import Settings, load
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.daemon.span import kept

STARTS_C = (-25.0, -9.0, 0.0, 20.0)
WARM_C = 20.0
LIT_S, HEATED_S, PLAYED_S = 1200.0, 3600.0, 6600.0
BODY_S = (120.0, 360.0)
"""How slowly a cell follows the air: of some 30 g, in still air (own choice)."""
APART_S = (60.0, 180.0)
"""How much slower than the one end of the cell the other is; three minutes is what the
findings of the first version have."""
SPANNED = ((21, 4.0), (14, 20.0))
"""Days ago, and how warm it was, when the cell was spanned."""
LIMIT_PCT, LATE_PCT = 19.5, 0.2
"""`o2-low`, and how far below it the true oxygen may be when it rings."""

CONFIG = """
[cabin]
name = "lapwing"
volume_m3 = 11.0
altitude_m = 640.0
glass_u_w_m2k = 2.8
wall_w_k = 28.0
leak_per_h = 0.15
vent_low_cm2 = 150.0
vent_high_cm2 = 150.0
[watch]
tick_s = 10.0
[i2c.main]
device = "/dev/i2c-1"
[part.cell]
kind = "o2_cell_ads1115"
bus = "main"
pressure_from = "baro"
temperature_from = "bunk-air"
options = {{ {options} }}
[part.bunk-air]
kind = "sht4x"
bus = "main"
[part.baro]
kind = "bme280"
bus = "main"
[part.bunk-co2]
kind = "scd4x"
bus = "main"
pressure_from = "baro"
[buzzer]
line = "GPIO17"
"""


@dataclass(frozen=True)
class Scene:
    """What is played."""

    start_c: float
    is_shut: bool
    is_ahead: bool
    """The membrane warms before its thermistor: the cell reads too high."""
    seed: int


@dataclass
class Heard:
    """What came of it."""

    scene: Scene
    other_gas: int = 0
    """How often another gas was called."""
    rang_at_pct: float | None = None
    """The true oxygen when `o2-low` first rang."""
    least_pct: float = 100.0
    """The least true oxygen while the play went on."""
    alarms: list[str] = field(default_factory=list)

    @property
    def is_late(self) -> bool:
        """Whether `o2-low` came too late, or not at all."""
        low_pct = LIMIT_PCT - LATE_PCT
        if self.rang_at_pct is None:
            return self.least_pct < low_pct
        return self.rang_at_pct < low_pct


class UnevenCabin:
    """An emulated cabin that is heated evenly, and a cell whose two ends are not."""

    def __init__(self, inner: EmulatedCabin, scene: Scene, random: Random) -> None:
        body_s = random.uniform(*BODY_S)
        ends = Lag(body_s), Lag(body_s + random.uniform(*APART_S))
        self._membrane, self._thermistor = ends if scene.is_ahead else ends[::-1]
        self._inner, self._start_c = inner, scene.start_c
        self._temp_c, self._behind_k = scene.start_c, 0.0

    def advance(self, to_s: float) -> None:
        self._inner.advance(to_s)
        share = min(max((to_s - LIT_S) / HEATED_S, 0.0), 1.0)
        self._temp_c = self._start_c + (WARM_C - self._start_c) * share
        membrane_c = self._membrane.follow(self._temp_c, to_s)
        self._behind_k = self._thermistor.follow(self._temp_c, to_s) - membrane_c

    def air_now(self) -> AirNow:
        air = self._inner.air_now()
        wet_hpa = vapour_hpa(air.temp_c, air.rh_pct)
        return replace(
            air,
            temp_c=self._temp_c,
            rh_pct=min(rh_pct(self._temp_c, wet_hpa), 100.0),
            membrane_behind_k=self._behind_k,
        )

    def truth(self) -> Truth:
        return self._inner.truth()


def night(random: Random, *, is_shut: bool) -> NamedNight:
    """A flame as the vents can bear it, or not; the rest of the heat has a flue."""
    share, burner_kw = (0.0, random.uniform(1.0, 3.0)) if is_shut else (1.0, 0.8)
    first = NightSetting(low_open=share, high_open=share, outside_c=5.0, wind_mps=2.0)
    lit = NightChange(LIT_S, {"burner_kw": burner_kw})
    return NamedNight("warming", "a cold cabin is heated", first, (lit,))


def settings(scene: Scene, folder: Path) -> Settings:
    """The cabin's config, its cell spanned at 20 °C in fresh air."""
    spans = [spanned(scene.seed, temp_c, day) for day, temp_c in SPANNED]
    options = kept.options_of(spans)
    inner = ", ".join(f"{key} = {value}" for key, value in options.items())
    path = folder / "cabin.toml"
    path.write_text(CONFIG.format(options=inner), encoding="utf-8")
    return load(path)


def spanned(seed: int, temp_c: float, day: int) -> kept.Span:
    """A span in fresh air of the cell that the play will have."""
    now_s = [0.0]
    air = AirNow(temp_c=temp_c)
    cell = GalvanicO2Cell(lambda: air, seed * SEED_STEP, lambda: now_s[0])
    now_s[0] = GalvanicO2Cell.SETTLE_S
    mv = cell.volts() * 1000.0
    return kept.Span(
        "cell",
        "o2_cell_ads1115",
        START_WALL - timedelta(days=day),
        mv,
        "mV",
        temp_c=temp_c,
        options={
            "air_mv": round(mv, 4),
            "air_hpa": air.pressure_hpa,
            "air_o2_pct": air.o2_pct,
            "air_temp_c": temp_c,
        },
    )


def heard(scene: Scene) -> Heard:
    """Play a scene and return what was told."""
    result = Heard(scene)
    with tempfile.TemporaryDirectory(prefix="cabinvigil-") as folder:
        cabin_settings = settings(scene, Path(folder))
    random = Random(scene.seed)
    played = night(random, is_shut=scene.is_shut)
    inner = EmulatedCabin(cabin_settings.cabin, played)
    cabin = UnevenCabin(inner, scene, random)

    def write(command: Command, time_s: float) -> None:
        if not isinstance(command, Transition) or time_s < LIT_S / 2.0:
            return
        if command.state is not AlarmState.UNACKNOWLEDGED:
            return
        result.alarms.append(
            f"{time_s / 60.0:.0f} {command.alarm} {command.priority.word}"
        )
        if command.alarm == "displaced-air":
            result.other_gas += 1
        if command.alarm == "o2-low" and result.rang_at_pct is None:
            result.rang_at_pct = inner.truth().o2_pct

    def look(truth: Truth) -> None:
        result.least_pct = min(result.least_pct, truth.o2_pct)

    rehearsal = Rehearsal(
        cabin_settings, renderer("en"), cabin, PLAYED_S / 3600.0, seed=scene.seed
    )
    run_virtual(play(rehearsal, lambda _clock, _report: [LineWriter(write)], look))
    return result


def scenes(plays: int, seed: int) -> Iterator[Scene]:
    """The plays: each start, vents and side in turn."""
    kinds = itertools.cycle(itertools.product(STARTS_C, (False, True), (False, True)))
    for number, (start_c, is_shut, is_ahead) in zip(range(plays), kinds, strict=False):
        yield Scene(start_c, is_shut, is_ahead, seed + number)


def table(results: Sequence[Heard]) -> Iterator[str]:
    """Put what was heard into lines, by kind of play."""
    head = "from  vents  membrane  plays  another gas  o2-low rang, true %     too late"
    yield head
    for start_c, is_shut, is_ahead in itertools.product(
        STARTS_C, (False, True), (True, False)
    ):
        own = [
            one
            for one in results
            if (one.scene.start_c, one.scene.is_shut, one.scene.is_ahead)
            == (start_c, is_shut, is_ahead)
        ]
        if not own:
            continue
        rang = [one.rang_at_pct for one in own if one.rang_at_pct is not None]
        spread = f"{min(rang):.2f} to {max(rang):.2f}" if rang else "-"
        yield (
            f"{start_c:4.0f}  {'shut' if is_shut else 'open':5}  "
            f"{'ahead' if is_ahead else 'behind':8}  {len(own):5}  "
            f"{sum(one.other_gas > 0 for one in own):11}  "
            f"{len(rang):3} of them, {spread:14}  {sum(one.is_late for one in own):6}"
        )


def main(arguments: Sequence[str]) -> int:
    plays = int(arguments[0]) if arguments else 200
    seed = int(arguments[1]) if len(arguments) > 1 else 1
    results = [heard(scene) for scene in scenes(plays, seed)]
    print("\n".join(table(results)))
    gas = [one for one in results if one.other_gas]
    late = [one for one in results if one.is_late]
    for one in (*gas, *late):
        print(one)
    print(
        f"{len(results)} plays: another gas in {len(gas)}, o2-low late in {len(late)}"
    )
    return 1 if gas or late else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
