"""When the broker is told that a text of the monitor needs not be sent again.

Once it is kept; where the disk takes nothing, once no address waits for it any more, so
that a kill meanwhile loses nothing.
"""

from collections.abc import Callable, Sequence
from functools import partial

from cabinvigil.daemon.phone.dispatch import Dispatch
from cabinvigil.daemon.phone.inbound import TextHeard
from cabinvigil.daemon.phone.listener import Mail
from cabinvigil.daemon.phone.rings import ring_of

MOST_OWED = 32
"""Texts that the broker is not told of; then the oldest is told of all the same.  Half
of what it sends without a word from us: the newest danger must come through."""


class Receipts:
    """Has texts sent, and tells the broker of them; used from the loop."""

    def __init__(
        self, dispatch: Dispatch, confirm: Callable[[Sequence[Mail]], None]
    ) -> None:
        """Set it up.

        Args:
            dispatch: sends the texts.
            confirm: tells the broker.
        """
        self._dispatch = dispatch
        self._confirm = confirm
        self._owed: dict[str, Mail] = {}
        dispatch.on_done = self._done

    def send(self, texts: Sequence[Mail]) -> None:
        """Have texts sent, and the broker told in time."""
        rings = [
            ring_of(mail.heard, is_first=mail.arrived.is_first)
            for mail in texts
            if isinstance(mail.heard, TextHeard)
        ]
        if rings:
            self._dispatch.send(rings, partial(self._settle, texts))

    def _settle(self, texts: Sequence[Mail], is_kept: bool) -> None:
        told = []
        for mail in texts:
            ident = _ident(mail)
            is_owed = not is_kept or ident in self._owed
            if is_owed and self._dispatch.is_under_way(ident):
                # What the broker sends again takes the place of what it sent before.
                self._owed[ident] = mail
            else:
                told.append(mail)
        while len(self._owed) > MOST_OWED:
            told.append(self._owed.pop(next(iter(self._owed))))
        self._confirm(told)

    def _done(self, ring_id: str) -> None:
        mail = self._owed.pop(ring_id, None)
        if mail is not None:
            self._confirm([mail])


def _ident(mail: Mail) -> str:
    return mail.heard.id if isinstance(mail.heard, TextHeard) else ""
