"""Clauses on the air: comfort is true, danger sounds, blindness is told, doses stay."""

from collections.abc import Iterator

from tests.invariants import oracle as o
from tests.invariants.moment import HIGH, LOUD, LOW, MEDIUM, VITAL, Moment, PartView
from tests.invariants.oracle import LIMITS, Answer, Limit, Oracle, wakes

Checks = Iterator[tuple[str, str]]

GAS_ALARMS = ("o2-", "co-", "co2-", "gas-", "displaced-")
"""How the names of alarms about a gas begin."""
BLOOD_ALARM = "co-dose"
"""What a sleeper carries goes down for hours; its `low` says nothing of the air."""


def _named(truth: object, quantity: str) -> float:
    value: float = getattr(truth, quantity)
    return value


def _of(moment: Moment, quantity: str) -> list[PartView]:
    return [part for part in moment.parts if part.quantity == quantity]


def _is_still(part: PartView, for_s: float) -> bool:
    """Say whether a part stands still where a living one would move."""
    if part.mode != "frozen" or part.still_s < for_s or part.is_full:
        return False
    at_rest = part.quantity == "co_ppm" and (part.value or 0.0) <= o.CO_REST_PPM
    return not at_rest


def all_clear(oracle: Oracle, moment: Moment) -> Checks:
    """a. An all-clear is told only where it is true, and known to be."""
    told = any(text.alarm == "all-clear" for text in moment.texts)
    if not told or moment.is_loose:
        return
    yield "a/air", _bad_air(moment)
    standing = [
        f"{alarm} {view.state}"
        for alarm, view in moment.alarms.items()
        if alarm.startswith(GAS_ALARMS)
        and (view.stands or (view.is_aside and view.hidden))
        and not (alarm == BLOOD_ALARM and max(view.priority, view.hidden) <= LOW)
    ]
    yield "a/alarm-stands", ", ".join(standing)
    sounds = f"{moment.sound} goes on" if wakes(moment.sound) else ""
    yield "a/sounding", sounds
    yield "a/unseen", ", ".join(_unseen(moment))


def _bad_air(moment: Moment) -> str:
    """Say what is bad though an honest part of each quantity could know it."""
    truth, bad = moment.truth, []
    honest = {part.quantity for part in moment.parts if part.mode == "alive"}
    if "o2_pct" in honest and truth.o2_pct < o.GOOD_O2_PCT - o.ERROR["o2_pct"]:
        bad.append(f"oxygen is {truth.o2_pct:.2f} %")
    if "co_ppm" in honest and truth.co_ppm >= o.GOOD_CO_PPM + o.ERROR["co_ppm"]:
        bad.append(f"carbon monoxide is {truth.co_ppm:.0f} ppm")
    if "co2_ppm" in honest and truth.co2_ppm >= o.GOOD_CO2_PPM + o.ERROR["co2_ppm"]:
        bad.append(f"carbon dioxide is {truth.co2_ppm:.0f} ppm")
    return ", ".join(bad)


def _unseen(moment: Moment) -> list[str]:
    """List the vital quantities that no part was known to see for five minutes."""
    unseen = []
    for quantity in VITAL:
        parts = _of(moment, quantity)
        if parts and not any(_sees_surely(part, moment) for part in parts):
            unseen.append(f"{quantity} was seen by none ({_modes(parts, moment)})")
    return unseen


def _sees_surely(part: PartView, moment: Moment) -> bool:
    failed_s = moment.at_s - part.since_s
    if part.mode in ("silent", "reported"):
        return failed_s < o.SILENT_TOLD_S
    if part.mode == "doubtful":
        return False
    return not _is_still(part, o.STILL_S)


def _modes(parts: list[PartView], moment: Moment) -> str:
    return ", ".join(
        f"{part.name} {part.mode} for {moment.at_s - part.since_s:.0f} s"
        for part in parts
    )


def danger_sounds(oracle: Oracle, moment: Moment) -> Checks:
    """b. and l. Past a waking limit something sounds, unless answered since."""
    if moment.kind not in ("tick", "act", "source"):
        return
    for limit in LIMITS:
        if not oracle.is_due(limit, moment):
            continue
        yield from _silence(oracle, moment, limit)


def _silence(oracle: Oracle, moment: Moment, limit: Limit) -> Checks:
    value = _named(moment.truth, limit.quantity)
    if not limit.is_past(value):
        return  # it has just gone, and the next reading will say so
    if LOUD[moment.sound] >= (3 if limit.weight == HIGH else 2):
        yield "b/rings", ""
        return
    what = f"{limit.quantity} is {value:.4g}, past {limit.name}"
    why = f"{what}, and {moment.sound} plays"
    view = moment.alarms.get(limit.guard)
    if moment.is_loose:
        yield "b/loose-config", why
    elif view is not None and view.is_aside:
        yield "b/put-aside", f"{why}: {limit.guard} is {view.state}"
    else:
        yield from _answered(oracle, moment, limit, why)
        yield from _chatter(oracle, moment, limit, why)


def _answered(oracle: Oracle, moment: Moment, limit: Limit, why: str) -> Checks:
    """Judge whether an answer may quiet this: it concerns what rang by then."""
    answers = oracle.answers(limit.guard)
    quiet_s = limit.ack_s + moment.tick_s
    recent = [one for one in answers if moment.at_s - one.at_s <= quiet_s]
    since_s = oracle.book.spells[limit.name].near_s or 0.0
    wrongs = [_wrong(one, limit, since_s) for one in recent]
    if any(not clause for clause, _ in wrongs):
        yield "l/answered", ""
        yield "b/silence", ""
    elif wrongs:
        clause, how = wrongs[0]
        yield clause, f"{why}: answered {how}"
    elif answers and answers[0].act.asked_s >= since_s:
        ago_s = moment.at_s - answers[0].at_s
        yield "b/silence", f"{why}, {ago_s:.0f} s after the last answer"
    else:
        yield "b/rings", f"{why}, and nobody has answered since"


def _wrong(answer: Answer, limit: Limit, since_s: float) -> tuple[str, str]:
    """Say by which clause an answer does not concern a spell; '' where it does."""
    asked_s = answer.act.asked_s
    if asked_s < since_s:
        clause = "l/late" if answer.at_s > since_s else "l/before"
        return clause, f"{since_s - asked_s:.0f} s before it rose"
    if limit.guard in answer.too_fresh:
        return "l/too-soon", "as it began to sound"
    return "", ""


def _chatter(oracle: Oracle, moment: Moment, limit: Limit, why: str) -> Checks:
    """Judge the silence under a button that answers more often than a person does."""
    since_s = oracle.book.chatters_s
    if since_s is None:
        return
    chattered_s = moment.at_s - since_s
    is_long = chattered_s > limit.ack_s + moment.tick_s
    how = f"{why}, while the button has chattered for {chattered_s:.0f} s"
    yield "b/chatter", how if is_long else ""


def blindness(oracle: Oracle, moment: Moment) -> Checks:
    """c. Where no living part sees a vital quantity, at least `medium` stands."""
    if moment.kind != "tick":
        return
    told = any(
        (view.stands and view.priority >= MEDIUM)
        or (view.is_aside and view.hidden >= MEDIUM)
        for view in moment.alarms.values()
    )
    for quantity in VITAL:
        parts = _of(moment, quantity)
        if not parts:
            continue
        lasts = [_blind(part, moment) for part in parts]
        if not all(lasts):
            continue
        if moment.is_loose:
            clause = "c/loose-config"
        else:
            clause = max((one for one in lasts if one), key=_ORDER.index)
        since_s = max(part.since_s for part in parts)
        due_s = since_s + _TOLD_S[clause]
        start_due_s = oracle.book.started_s + o.START_S
        if clause == "c/silent" and start_due_s > due_s:
            clause, due_s = "c/silent-from-start", start_due_s
        due_s = max(due_s, start_due_s)
        if moment.at_s >= due_s + moment.tick_s:
            why = f"{quantity} is unseen: {_modes(parts, moment)}"
            yield clause, "" if told else why


_TOLD_S = {
    "c/silent": o.SILENT_TOLD_S,
    "c/frozen": o.FROZEN_TOLD_S,
    "c/doubtful": o.DOUBTFUL_TOLD_S,
    "c/loose-config": o.FROZEN_TOLD_S,
}
_ORDER = ["c/silent", "c/frozen", "c/doubtful"]


def _blind(part: PartView, moment: Moment) -> str:
    """Return the clause by which a part sees nothing; '' where it may."""
    if part.mode in ("silent", "reported"):
        return "c/silent"
    if part.mode == "doubtful":
        return "c/doubtful"
    return "c/frozen" if _is_still(part, 0.0) else ""


MEASURABLE_PCT = 1.0
"""Carboxyhaemoglobin that somebody who breathes clean air never has (0.4 to 0.9 %, from
memory)."""
GONE_S = 30.0
"""A value is used for so long after it came, at most."""


def _is_gone(part: PartView, moment: Moment) -> bool:
    is_silent = part.mode in ("silent", "reported")
    return is_silent and moment.at_s - part.since_s > GONE_S


def blood(oracle: Oracle, moment: Moment) -> Checks:
    """e. The dose never falls in time that nobody measured."""
    parts = _of(moment, "co_ppm")
    if moment.kind == "restart":
        clause = "e/down"
    elif moment.kind == "tick" and parts and all(_is_gone(p, moment) for p in parts):
        clause = "e/silent"
    elif moment.kind == "tick" and parts and all(p.mode == "doubtful" for p in parts):
        clause = "e/doubtful"
    else:
        return
    if moment.blood_before_pct < MEASURABLE_PCT:
        return
    fell = moment.blood_before_pct - moment.blood_pct
    why = f"{moment.blood_before_pct:.2f} % became {moment.blood_pct:.2f} %"
    yield clause, why if fell > 1e-6 else ""


def nothing_wrong(oracle: Oracle, moment: Moment) -> Checks:
    """m. What is well is not called ill: neither air, nor a part at its range's end."""
    if moment.is_untouched:
        yield "m/nobody-woken", moment.sound_of if wakes(moment.sound) else ""
    for part in moment.parts:
        if part.is_full and part.mode == "alive" and part.still_s >= o.STILL_S:
            view = moment.alarms.get(f"sensor-stuck/{part.quantity}")
            stuck = view is not None and view.stands
            why = f"{part.name} is called stuck at the end of its range"
            yield "m/end-of-range", why if stuck else ""
    if moment.is_natural and moment.truth.gas_pct < 0.05:
        honest = all(p.is_honest or p.mode in _AWAY for p in moment.parts)
        if not honest:
            oracle.book.has_lied = True
        was, view = (v.get("displaced-air") for v in (moment.before, moment.alarms))
        rose = view is not None and view.stands and not (was and was.stands)
        if not oracle.book.has_lied:
            yield "m/no-other-gas", "told though there is none" if rose else ""


_AWAY = ("silent", "reported")


CLAUSES = (all_clear, danger_sounds, blindness, blood, nothing_wrong)
