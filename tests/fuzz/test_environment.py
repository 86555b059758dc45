"""An environment that lies: the watch takes systemd's words from it, and no harm."""

from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.service.watchdog import Notifier, watchdog_period_s
from tests.fuzz.mangle import NASTY, fuzz

WORDS = st.one_of(
    st.text(max_size=200),
    st.integers().map(str),
    st.sampled_from(NASTY).map(lambda piece: piece.decode("utf-8", "surrogateescape")),
)


@fuzz(100)
@given(WORDS, WORDS)
def test_a_watchdog_of_any_length_is_fed_or_none(allowed: str, pid: str) -> None:
    """What is no number of microseconds is no watchdog; none is longer than an hour."""
    for environ in (
        {"WATCHDOG_USEC": allowed},
        {"WATCHDOG_USEC": allowed, "WATCHDOG_PID": pid},
    ):
        period_s = watchdog_period_s(environ, 7)
        assert period_s is None or 0.0 < period_s <= 3600.0 / 3.0


@fuzz(100)
@given(WORDS)
def test_a_notify_socket_of_any_name_hurts_nobody(name: str) -> None:
    """It is told into the void; the abstract one, `@`, too."""
    for each in (name, "@" + name):
        notifier = Notifier({"NOTIFY_SOCKET": each})
        notifier.ready(name)
        notifier.feed()
        assert notifier.is_asked is bool(each)
