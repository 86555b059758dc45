"""Whether the parts tell the truth: fresh air, and a breath or test gas. Pure.

The trade tests a gas detector before each day's use: in fresh air it shows fresh air,
and gas that is held to it is seen, in time.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from statistics import fmean

from cabinvigil.daemon.precheck.findings import Finding, Word
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.series import series_keys
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.span.fresh_air import (
    AirFound,
    Given,
    air_of,
    look_at,
)
from cabinvigil.daemon.span.proofs import BREATH, GAS, CanOfGas, Proof
from cabinvigil.drivers.kit.quantity import OUTSIDE_PLACES, QUANTITIES, split_channel

O2_APART_PCT = 0.3
"""In fresh air oxygen shows what fresh air holds, within so much (our choice: half of
what a part may have moved since its span)."""
VAPOUR_PCT = 0.6
"""So much less it holds in dripping air of 25 °C (check values: vapour pressure), which
nobody can tell where nothing measures humidity."""
CO_MOST_PPM = 3.0
"""A carbon monoxide zero moves by a ppm or two in months (our choice)."""
BREATHED: Mapping[str, float] = {"o2_pct": -2.0, "co2_ppm": 3000.0}
"""What a bag of breath moves a part by at least, long before it shows all of it: breath
holds 16 to 17 % oxygen and some 40,000 ppm of carbon dioxide (16 and 4 to
16.4 and 4.4 % in schoolbooks)."""
BY_GAS: Mapping[str, str] = {"co_ppm": "--gas PPM", "gas_lel_pct": "--lel PCT"}
"""What only test gas moves, and the option that names the can's."""
SMOKERS_CO_PPM = 5.0
"""Carbon monoxide in the breath of who does not smoke and is well stays below: 1.8 ppm
with an sd of 1.3, and 6 parts them from smokers (Chest 117, 758, abstract)."""
GAS_SEEN, GAS_MOST = 0.8, 1.5
"""Of test gas a part must show so much within three lags, by when it should show 95 %
of it, and never so much more: what is off by a fifth at 70 ppm wakes people 18 ppm late
(our choice)."""
LAGS = 3.0
LEAST_LAG_S = 10.0
"""For parts whose lag is shorter, or not known: a bag is not on in no time."""
HANDS_S = 5.0
"""From the key to the bag lying over the parts (our choice)."""
BACK: Mapping[str, float] = {
    "o2_pct": 0.5,
    "co2_ppm": 1500.0,
    "co_ppm": 5.0,
    "gas_lel_pct": 2.0,
}
"""As near to where they were, the parts have come back from it (our choice)."""
MIND_AFTER, BAD_AFTER = timedelta(days=7), timedelta(days=31)
"""The trade tests before each day's use; a week and a month are own choices."""
GAS_MIND_AFTER = timedelta(days=183)
"""With test gas each half year, as a detector's maker often asks for (unverified)."""


@dataclass(frozen=True, slots=True)
class Subject:
    """One quantity of one part that breath or gas can prove."""

    part: str
    kind: str
    quantity: str
    series: str
    lag_s: float
    place: str = ""

    @property
    def allowed_s(self) -> float:
        """Return in what time it must be seen."""
        return HANDS_S + LAGS * max(self.lag_s, LEAST_LAG_S)


def subjects(
    parts: Mapping[str, PartSettings], gas: CanOfGas | None = None
) -> list[Subject]:
    """Return what test gas, or without it a breath, proves of these parts."""
    infos = part_infos(parts)
    wanted = BREATHED if gas is None else (gas.quantity,)
    return [
        Subject(
            name,
            parts[name].kind,
            quantity,
            series,
            infos[name].gives[quantity].lag_s,
            parts[name].place,
        )
        for (name, quantity), series in series_keys(parts, infos).items()
        if quantity in wanted and parts[name].place not in OUTSIDE_PLACES
    ]


# --- fresh air --------------------------------------------------------------------


def fresh_air(
    looks: Sequence[Mapping[str, float]],
    parts: Mapping[str, PartSettings],
    standard_hpa: float | None,
    outdoor_ppm: float | None,
) -> list[Finding]:
    """Judge what every part shows with the doors open and the burner off.

    Args:
        looks: fresh values by series, a few seconds apart.
        parts: of the config.
        standard_hpa: the pressure of the cabin's height, where no part tells it.
        outdoor_ppm: CO2 outdoors, where the config says.
    """
    gave: dict[str, list[Given]] = {}
    for (name, quantity), series in series_keys(parts, part_infos(parts)).items():
        values = [look[series] for look in looks if series in look]
        if values and parts[name].place not in OUTSIDE_PLACES:
            gave.setdefault(quantity, []).append(Given(name, values))
    air = air_of(gave, standard_hpa)
    bad = [*_off(gave, air), *_not_fresh(gave, air, outdoor_ppm)]
    if bad:
        return [Finding("fresh air", "bad", text) for text in bad]
    shown = [
        f"{given.mean:.1f} {QUANTITIES[quantity].unit} by {given.part}"
        for quantity in ("o2_pct", "co_ppm", "co2_ppm")
        for given in gave.get(quantity, ())
    ]
    if not shown:
        return [Finding("fresh air", "bad", "no sensor gives a reading to check it by")]
    return [Finding("fresh air", "good", f"confirmed: {', '.join(shown)}")]


def _not_fresh(
    gave: Mapping[str, Sequence[Given]], air: AirFound, outdoor_ppm: float | None
) -> Iterator[str]:
    gases = {q: gave[q] for q in ("co2_ppm", "gas_lel_pct") if q in gave}
    for saw in look_at(gases, frozenset(), air, outdoor_ppm):
        if saw.is_good is False:
            yield f"{saw.text}: air the cabin, or check the sensor"


def _off(gave: Mapping[str, Sequence[Given]], air: AirFound) -> Iterator[str]:
    has_vapour = air.rh_pct is not None and air.temp_c is not None
    wet_pct = 0.0 if has_vapour else VAPOUR_PCT
    for given in gave.get("o2_pct", ()):
        off_pct = given.mean - air.o2_pct
        if not -O2_APART_PCT - wet_pct <= off_pct <= O2_APART_PCT:
            vapour = "" if has_vapour else " or slightly less in damp air"
            yield (
                f"{given.part}: oxygen {given.mean:.1f} %, fresh air has "
                f"{air.o2_pct:.1f}{vapour}: air the cabin, or run `cabinvigil span`"
            )
    for given in gave.get("co_ppm", ()):
        if abs(given.mean) > CO_MOST_PPM:
            yield (
                f"{given.part}: carbon monoxide {given.mean:.0f} ppm, fresh air has "
                "none: air the cabin and find the source, or run `cabinvigil span`"
            )


# --- a breath, or gas -------------------------------------------------------------


@dataclass
class BumpTrial:
    """What the parts do from the moment at which breath or gas comes to them."""

    subjects: Sequence[Subject]
    before: Mapping[str, float]
    """Fresh values by series, just before."""
    gas: CanOfGas | None = None
    """None: it is a breath."""
    reached_s: dict[str, float] = field(default_factory=dict)
    """When each series had moved far enough."""
    most: dict[str, float] = field(default_factory=dict)
    """How far each series has moved at most, the way that it should."""
    tops: dict[str, float] = field(default_factory=dict)
    """Of test gas: where each series ended that could show no more."""
    last: Mapping[str, float] = field(default_factory=dict)
    since_s: float = 0.0

    def _need(self, one: Subject) -> float:
        if self.gas is not None:
            return GAS_SEEN * self.gas.amount
        return BREATHED[one.quantity]

    def see(
        self,
        since_s: float,
        readings: Mapping[str, float],
        at_least: Collection[str] = (),
    ) -> None:
        """Take what the parts show.

        Args:
            since_s: seconds since the bag or the gas came.
            readings: fresh values by series.
            at_least: those whose part is at the end of its range, and shows no more.
        """
        self.last, self.since_s = readings, since_s
        for one in self.subjects:
            if one.series not in readings or one.series not in self.before:
                continue
            moved = readings[one.series] - self.before[one.series]
            need = self._need(one)
            far = moved if need > 0.0 else -moved
            self.most[one.series] = max(far, self.most.get(one.series, far))
            is_capped = self.gas is not None and one.series in at_least
            if is_capped:
                self.tops.setdefault(one.series, readings[one.series])
            if far >= abs(need) or is_capped:
                self.reached_s.setdefault(one.series, since_s)

    def at_top(self) -> list[str]:
        """Return which parts the gas was too much for, in words."""
        if self.gas is None:
            return []
        unit = QUANTITIES[self.gas.quantity].unit
        return [
            f"the range of {one.part} ends at {self.tops[one.series]:.0f} {unit}, and "
            f"the gas has {self.gas.amount:g}"
            for one in self.subjects
            if one.series in self.tops and not self._why_failed(one)
        ]

    @property
    def is_over(self) -> bool:
        """Return whether every part has answered, or has had its time."""
        return all(
            one.series in self.reached_s or self.since_s > one.allowed_s
            for one in self.subjects
        )

    @property
    def has_passed(self) -> bool:
        """Return whether every part has seen it."""
        return not any(self._why_failed(one) for one in self.subjects)

    def not_back(self) -> dict[str, str]:
        """Return what each gas shows that is not again what it was, by quantity.

        All gases, were it test gas alone: what comes meanwhile is the cabin's.
        """
        left = {}
        for series in sorted(self.before.keys() | self.last.keys()):
            found = split_channel(series)
            if found is None or found[0].name not in BACK:
                continue
            quantity, before = found[0], self.before.get(series)
            value = self.last.get(series)
            if value is None or before is None:
                left[quantity.name] = f"{quantity.words} not known"
            elif abs(value - before) > BACK[quantity.name]:
                digits = min(quantity.decimals, 1)
                shown = f"{value:.{digits}f} {quantity.unit}"
                left[quantity.name] = f"{quantity.words} {shown}"
        return left

    def proofs(self, at: datetime) -> list[Proof]:
        """Return what came of it, part by part."""
        return [
            Proof(
                one.part,
                one.kind,
                one.quantity,
                BREATH if self.gas is None else GAS,
                at.astimezone(UTC),
                round(self.reached_s.get(one.series, self.since_s), 1),
                self._why_failed(one),
            )
            for one in self.subjects
        ]

    def _why_failed(self, one: Subject) -> str:
        words, unit = QUANTITIES[one.quantity].words, QUANTITIES[one.quantity].unit
        if one.series not in self.most:
            return f"no reading of {words}"
        gas = self.gas
        if gas is not None and self.most[one.series] > GAS_MOST * gas.amount:
            shown = f"{self.most[one.series]:.0f} {unit} of {gas.amount:g}"
            return f"it showed {shown}: check its scale, and the label of the can"
        reached_s = self.reached_s.get(one.series)
        if reached_s is not None and reached_s <= one.allowed_s:
            return ""
        if reached_s is not None:
            return f"it took {reached_s:.0f} s, more than {one.allowed_s:.0f}"
        digits = 1 if one.quantity == "o2_pct" else 0
        moved, need = max(0.0, self.most[one.series]), abs(self._need(one))
        return (
            f"{words} moved by {moved:.{digits}f} {unit} in {self.since_s:.0f} s, less "
            f"than {need:.{digits}f}"
        )


def of_smoke(before: Mapping[str, float], now: Mapping[str, float]) -> Finding | None:
    """Say of carbon monoxide that came with a breath; None where none did."""
    rise = max(
        (
            now[series] - before[series]
            for series in before.keys() & now.keys()
            if series.startswith("co_ppm")
        ),
        default=0.0,
    )
    if rise < SMOKERS_CO_PPM:
        return None
    text = (
        f"{rise:.0f} ppm of carbon monoxide came with it: a smoker's, or someone has "
        "breathed burnt gas; with a headache, get medical help"
    )
    return Finding("breath", "mind", text)


def told(proofs: Sequence[Proof]) -> Finding:
    """Return what came of a test, in one line."""
    failed = [f"{one.part}: {one.failed}" for one in proofs if one.failed]
    is_breath = all(one.by == BREATH for one in proofs)
    subject = "breath" if is_breath else "test gas"
    if failed:
        text = "; ".join(failed)
        leak = "a bag that leaks" if is_breath else "gas that missed it"
        hint = f"{leak}, or a sensor that is slow or blind: test it again"
        return Finding(subject, "bad", f"{text} ({hint})")
    seen = ", ".join(
        f"{one.part} {QUANTITIES[one.quantity].words} in {one.seconds:.0f} s"
        for one in proofs
    )
    return Finding(subject, "good", f"seen by {seen}")


# --- what is kept -----------------------------------------------------------------


def proof_age(
    proofs: Sequence[Proof], quantities: Mapping[str, str], now: datetime
) -> Iterator[tuple[Word, str]]:
    """Weigh when a part was last proved, for the quantities that it gives."""
    for quantity in (*BREATHED, *BY_GAS):
        if quantity in quantities:
            own = [one for one in proofs if one.quantity == quantity]
            yield _aged(own, quantity, now)


def _aged(proofs: Sequence[Proof], quantity: str, now: datetime) -> tuple[Word, str]:
    is_gas = quantity in BY_GAS
    words = QUANTITIES[quantity].words
    if not proofs:
        if is_gas:
            how = BY_GAS[quantity]
            return "mind", f"never tested with test gas (`precheck {how}`)"
        return "bad", f"{words} never tested: run `cabinvigil precheck --breath`"
    last = proofs[-1]
    days = (now - last.at).days
    when = "today" if days < 1 else f"{days} days ago"
    how = "tested with gas" if is_gas else "breathed on"
    if days < 0:
        return "mind", (
            "its last test is in the future: set the clock, and test it again"
        )
    if last.failed:
        return "bad", f"{how} {when}, {last.failed}"
    text = f"{how} {when}, {last.seconds:.0f} s"
    age = now - last.at
    if is_gas:
        return ("mind" if age > GAS_MIND_AFTER else "good"), text
    if age > BAD_AFTER:
        return "bad", f"{text}: run `cabinvigil precheck --breath`"
    return ("mind" if age > MIND_AFTER else "good"), text


def is_due(proofs: Sequence[Proof], wanted: Sequence[Subject], now: datetime) -> bool:
    """Return whether a breath is due: something has not passed its last, or a week."""
    for one in wanted:
        own = [
            proof
            for proof in proofs
            if (proof.part, proof.kind, proof.quantity)
            == (one.part, one.kind, one.quantity)
        ]
        if not own or own[-1].failed:
            return True
        if not timedelta(0) <= now - own[-1].at <= MIND_AFTER:
            return True
    return False


def mean_look(looks: Sequence[Mapping[str, float]]) -> dict[str, float]:
    """Return the mean of a few looks, by series."""
    keys = {key for look in looks for key in look}
    return {key: fmean([look[key] for look in looks if key in look]) for key in keys}
