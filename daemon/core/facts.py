"""Numbers that any alarm's sentence may use, gathered in one way for all rules."""

from cabinvigil.daemon.core.history import History


def o2_facts(history: History) -> dict[str, float | str]:
    """Return O2 now and how fast it moves, as far as it is known."""
    facts: dict[str, float | str] = {}
    worst = history.worst("o2_pct", "below")
    if worst is not None:
        facts["o2_pct"] = worst[1].value
    trend = history.trend
    if trend is not None:
        facts["rate_pct_per_h"] = trend.o2_rate_pct_per_h[1]
    return facts


def place_of(history: History, key: str) -> str:
    """Name the part that gave a series, for people."""
    spec = history.setup.series.get(key)
    return key if spec is None else spec.title
