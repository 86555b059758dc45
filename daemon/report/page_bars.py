"""Bars of the morning page: when each alarm stood, how far each limit was.

Drawn by the page itself, so that their words are as large as all others.
"""

import re
from collections.abc import Iterator, Sequence
from datetime import tzinfo
from html import escape

from cabinvigil.daemon.report.own_alarms import KINDS, Stand, stands
from cabinvigil.daemon.report.pictures import ticks_of
from cabinvigil.daemon.report.rows import (
    Clock,
    clock_of,
    near_row,
    ring_text,
    shown,
    spare_row,
    warned,
)
from cabinvigil.daemon.review.alarm_episodes import RANKS
from cabinvigil.daemon.review.closest_approach import Approach
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.verdict import FRESH
from cabinvigil.daemon.text.alarm_names import name_of_alarm, urgency
from cabinvigil.daemon.text.charts import LEFT, RIGHT, WIDTH
from cabinvigil.daemon.text.durations import minutes
from cabinvigil.daemon.text.numbers import bracketed
from cabinvigil.daemon.text.units_said import Units

MOST_RANG = 12
LIMIT_AT_PCT = 60.0
"""Where the limit stands on a bar; what is past it goes the other way."""
LAST_PCT = 98.0
"""No bar begins further right: the shortest is four pixels wide."""
SIGNS = {"high": "▲", "medium": "◆", "low": "●", "fault": "?"}
"""A priority's own shape: no colour tells it alone."""
DOES = {
    "high": "get out",
    "medium": "wake and ventilate",
    "low": "woke nobody",
    "fault": "a sensor or the monitor failed",
}
_CSS_NAME = re.compile(r"[a-z]+")


def timeline(found: Morning, zone: tzinfo | None) -> str:
    """Write what sounded: each named, with its begin, end, priority and words."""
    rang = stands(found)
    if not rang:
        return "<section><h2>What sounded</h2><p>Nothing.</p></section>"
    clock = clock_of(found, zone)
    chosen = sorted(rang, key=_gravest)[:MOST_RANG]
    rows = "".join(
        _stand(found, one, clock)
        for one in sorted(chosen, key=lambda one: one.ring.at_s)
    )
    more = ""
    if len(rang) > len(chosen):
        more = f"<p>and {len(rang) - len(chosen)} more, less grave.</p>"
    there = dict.fromkeys(one.ring.priority for one in sorted(chosen, key=_gravest))
    key = "; ".join(
        f"{SIGNS[one]} {urgency(one)}: {DOES[one]}" for one in there if one in SIGNS
    )
    return (
        f'<section class="rang"><h2>What sounded</h2><p class="key">{key}</p>'
        f'{_axis(found, zone)}<ul class="stands">{rows}</ul>{more}</section>'
    )


def _gravest(one: Stand) -> tuple[int, float]:
    return -one.rank, one.from_s


def _stand(found: Morning, one: Stand, clock: Clock) -> str:
    episode, ring = one.episode, one.ring
    word = ring.priority if _CSS_NAME.fullmatch(ring.priority) else "fault"
    length_s = max(found.tape.length_s, 1.0)
    end_s = found.tape.length_s if one.to_s is None else one.to_s
    left = min(100.0 * ring.at_s / length_s, LAST_PCT)
    wide = max(0.0, 100.0 * (end_s - ring.at_s) / length_s)
    until = "to the end" if one.to_s is None else f"to {clock(one.to_s)}"
    is_last = ring is episode.rises[-1]
    facts = [f"{clock(ring.at_s)} {until}", f"{SIGNS.get(word, '?')} {urgency(word)}"]
    if is_last and episode.rings > len(episode.rises):
        facts.append(f"sounded {episode.rings} times")
    if episode.acknowledged_s is None:
        facts.append("not acknowledged")
    else:
        facts.append(f"acknowledged after {minutes(episode.acknowledged_s / 60.0)}")
    style = f"left:{left:.1f}%;width:{min(wide, 100.0 - left):.1f}%"
    rank = word if RANKS.get(word, 0) in KINDS else "fault"
    name, text = name_of_alarm(episode.alarm), ring_text(episode, ring, found.units)
    return (
        f"<li><b>{escape(name)}</b> <span>{escape(', '.join(facts))}</span>"
        f'<div class="track" aria-hidden="true"><i class="{rank}" style="{style}"></i>'
        f"</div><small>{escape(text)}</small></li>"
    )


def _axis(found: Morning, zone: tzinfo | None) -> str:
    """Write the hours above the bars, where the pictures have them."""
    hour_pct = 100.0 * (WIDTH - LEFT - RIGHT) / WIDTH / max(found.hours, 1e-6)
    left_pct = 100.0 * LEFT / WIDTH
    words = "".join(
        f'<i style="left:{left_pct + hour_pct * at_h:.1f}%">{escape(word)}</i>'
        for at_h, word in ticks_of(found, zone)
    )
    return f'<div class="hours" aria-hidden="true">{words}</div>'


def to_limits(found: Morning, zone: tzinfo | None) -> str:
    """Write how far each gas was from its limit, the nearest first."""
    near = sorted(shown(found.near), key=share_left)
    clock = clock_of(found, zone)
    most = max(1.0, *(-share_left(one) for one in near)) if near else 1.0
    rows = "".join(_to_limit(one, clock, most, found.units) for one in near)
    notes = "".join(f"<p>{escape(text)}</p>" for text in _notes(found, clock))
    if not rows and not notes:
        return ""
    key = (
        ""
        if not rows
        else (
            '<p class="key">Left end: fresh air. Upright line: the limit. '
            "A bar reaches from the worst air to the limit"
            + ("; past it, to the right, striped" if near[0].margin <= 0.0 else "")
            + ".</p>"
        )
    )
    return (
        f'<section class="near"><h2>How far from the limits</h2>{key}'
        f"<ul>{rows}</ul>{notes}</section>"
    )


def _notes(found: Morning, clock: Clock) -> Iterator[str]:
    if early := warned(found):
        yield f"{early[0].upper()}{early[1:]}."
    if spare := spare_row(found, clock):
        left = bracketed(spare.middle, spare.least, spare.most)
        yield f"Least to spare, as projected at {spare.when}: {left}."


def share_left(one: Approach) -> float:
    """Return the share of the way from fresh air to the limit that was left."""
    way = abs(one.limit.at - FRESH.get(one.limit.quantity, 0.0))
    return one.margin / way if way > 0.0 else 0.0


def _to_limit(one: Approach, clock: Clock, most: float, units: Units) -> str:
    row, share = near_row(one, clock, units), share_left(one)
    is_past = one.margin <= 0.0
    if is_past:
        wide = -share / most * (100.0 - LIMIT_AT_PCT)
        style = f"left:{LIMIT_AT_PCT:.0f}%;width:{max(wide, 1.0):.1f}%"
        told = f"past it for {row.passed}" if row.passed else "at it"
    else:
        wide = min(share, 1.0) * LIMIT_AT_PCT
        style = f"left:{LIMIT_AT_PCT - wide:.1f}%;width:{wide:.1f}%"
        told = f"{row.margin} left"
    kind = "past" if is_past else "left"
    text = f"{row.at_least}{row.value} at {row.when}, limit {row.limit}: {told}"
    text += f"; {row.measured}" if row.measured else ""
    return (
        f"<li><b>{escape(row.words)}</b> <span>{escape(text)}</span>"
        f'<div class="bar" aria-hidden="true"><i class="{kind}" style="{style}"></i>'
        "<u></u></div></li>"
    )


def listed(words: Sequence[str]) -> str:
    """Write a picture's key."""
    return escape(". ".join(words)) + "." if words else ""
