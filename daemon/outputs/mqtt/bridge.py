"""The bridge to the broker elsewhere, by what it says of itself at ours. Pure.

Without a bridge nothing is said, and nothing is told.
"""

DOWN_PATIENCE_S = 60.0
"""Down for so long it is told: our choice, a restart of either broker being over by
then (its bridge tries again within 30 s)."""
AGAIN_AFTER_S = 30.0
"""All that stands goes out again at most so often, however the bridge flutters: our own
choice, far longer than it takes."""
UP, DOWN = b"1", b"0"
"""mosquitto's words (mosquitto.conf(5), notifications)."""


class BridgeStatus:
    """Whether the way beyond our broker is open, over one connection to it."""

    def __init__(self) -> None:
        self._is_up: dict[str, bool] = {}
        self._down_s: float | None = None
        self._is_due = False
        self._again_s = float("-inf")

    def heard(self, topic: str, payload: bytes, now_s: float) -> None:
        """Take what the bridge, or its Will, says; anything else is not heeded.

        Args:
            topic: the bridge's own, or that of the hop before it.
            payload: `UP` or `DOWN`.
            now_s: monotonic.
        """
        if payload not in {UP, DOWN}:
            return
        was_down = self._down_s is not None
        self._is_up[topic] = payload == UP
        if not all(self._is_up.values()):
            self._down_s = now_s if self._down_s is None else self._down_s
            return
        self._down_s = None
        self._is_due = self._is_due or was_down

    def is_down(self, now_s: float) -> bool:
        """Return whether it has been down for longer than a restart takes."""
        return self._down_s is not None and now_s - self._down_s >= DOWN_PATIENCE_S

    def opens(self, now_s: float) -> bool:
        """Return, once, that it has come up: the other side wants all that stands."""
        if not self._is_due or now_s - self._again_s < AGAIN_AFTER_S:
            return False
        self._is_due = False
        self._again_s = now_s
        return True
