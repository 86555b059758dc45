"""All that the monitor knows at one moment, as text and back: exactly.

A file that goes on with a run begins with it, so that a replay of that file alone takes
the same steps.  The core's `snapshot` is another thing: it keeps what must outlive a
restart, on the safe side.
"""

import json
import zlib
from base64 import b64decode, b64encode
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from cabinvigil.daemon.core.engine import start
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.setup import Setup
from cabinvigil.daemon.core.state import State
from cabinvigil.daemon.text.typed import TypedError, from_plain, to_plain
from cabinvigil.daemon.trend.model import TrendEstimate
from cabinvigil.daemon.trend.state import TrendState

VERSION = 2
MOST_BYTES = 4 << 20
"""Of a state, unpacked: a monitor of eleven series has a quarter of a million."""
CHUNK = 32_000
"""Characters of it in one line: whoever reads lines need not hold long ones."""
_BY_SETUP = frozenset({"setup", "history", "trend_state"})
_BY_LAYOUT = frozenset({"layout", "trend"})
_BY_TREND = frozenset({"fine_grid", "coarse_grid"})


class WholeStateError(ValueError):
    """A text holds no state for this setup; the message says why."""


def to_text(state: State) -> str:
    """Put all but the setup into plain letters, without a break."""
    history = state.history
    plain = {
        "version": VERSION,
        "state": to_plain(state, _BY_SETUP),
        "history": to_plain(history, _BY_LAYOUT),
        "trend": to_plain(state.trend_state, _BY_TREND),
        "estimate": to_plain(history.trend),
    }
    text = json.dumps(plain, separators=(",", ":"), default=str)
    return b64encode(zlib.compress(text.encode(), 9)).decode()


def from_text(setup: Setup, text: str) -> State:
    """Read a state back.

    Args:
        setup: as the monitor had it.  What it has and the text does not is as at a
            start; what it lacks is left out.
        text: what `to_text` gave, or anything.

    Raises:
        WholeStateError: it is none.
    """
    try:
        packed = zlib.decompressobj()
        data = packed.decompress(b64decode(text, validate=True), MOST_BYTES)
        if not packed.eof:
            raise WholeStateError("is cut short, or too long")
        plain = json.loads(data)
        if plain["version"] != VERSION:
            raise WholeStateError("is of another version")
        return _state(setup, plain)
    except zlib.error:
        raise WholeStateError("is damaged") from None
    except TypedError as error:
        raise WholeStateError(f"is of another version ({error})") from None
    except WholeStateError:
        raise
    except (ArithmeticError, KeyError, RecursionError, TypeError, ValueError) as error:
        raise WholeStateError(f"cannot be read ({error!s:.60})") from None


def _state(setup: Setup, plain: Mapping[str, Any]) -> State:
    fresh = start(setup, 0.0)
    trend_state, estimate = _trend(fresh.trend_state, plain)
    history = from_plain(History, plain["history"], layout=setup.layout, trend=estimate)
    dose = history.dose
    if not all(
        0.0 <= pct <= 100.0 for pct in (dose.cohb_pct, *dose.others_pct.values())
    ):
        raise WholeStateError("is damaged")
    series = {
        key: history.series.get(key, begun)
        for key, begun in fresh.history.series.items()
    }
    state = from_plain(
        State,
        plain["state"],
        setup=setup,
        history=replace(history, series=series),
        trend_state=trend_state,
    )
    standings = {
        alarm: state.standings.get(alarm, begun)
        for alarm, begun in fresh.standings.items()
    }
    owed = state.all_clear_owed & standings.keys()
    told = replace(
        state.told,
        waiting=state.told.waiting & standings.keys(),
        told={k: v for k, v in state.told.told.items() if k in standings},
        dangers={k: v for k, v in state.told.dangers.items() if k in standings},
    )
    return replace(state, standings=standings, all_clear_owed=owed, told=told)


def _trend(fresh: Any, plain: Mapping[str, Any]) -> tuple[Any, TrendEstimate | None]:
    """Read the trend's state; it begins again where its setup has another shape."""
    if not isinstance(fresh, TrendState) or plain["trend"] is None:
        return fresh, None
    grids = {name: getattr(fresh, name) for name in _BY_TREND}
    trend = from_plain(TrendState, plain["trend"], **grids)
    for bank, grid in (
        (trend.fine, trend.fine_grid),
        (trend.coarse, trend.coarse_grid),
    ):
        if bank is not None and len(bank) != len(grid.coefficients):
            return fresh, None
    estimate = plain["estimate"]
    if estimate is None:
        return trend, None
    return trend, from_plain(TrendEstimate, estimate)
