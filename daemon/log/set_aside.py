"""What a log's lines tell that is no air which people breathe, at one moment."""

from typing import Any, NamedTuple

from cabinvigil.daemon.log.lines import Entry

NEVER_S = float("-inf")


class SetAside(NamedTuple):
    """The bump test and the trial that are open: a new file begins with them."""

    bump_until_s: float = NEVER_S
    trial_until_s: float = NEVER_S
    trial_text: str = ""

    def after(self, entry: Entry, up_s: float) -> "SetAside":
        """Return what is open after an entry of the log."""
        if entry.event not in ("bump-test", "trial"):
            return self
        until_s = up_s + entry.fields.get("for_s", NEVER_S)
        if entry.event == "bump-test":
            return self._replace(bump_until_s=until_s)
        text = entry.fields.get("text", "")
        return self._replace(trial_until_s=until_s, trial_text=text)

    def has_trial(self, up_s: float) -> bool:
        """Return whether what is measured now is a trial's: its lines say so.

        The line that ends it may be lost, and the night after it must not be.
        """
        return self.trial_until_s > up_s

    def fields(self, up_s: float) -> dict[str, Any]:
        """Return the keys by which the top of a file tells of it."""
        found: dict[str, Any] = {}
        if self.bump_until_s > up_s:
            found["bump_for_s"] = self.bump_until_s - up_s
        if self.trial_until_s > up_s:
            found["trial_for_s"] = self.trial_until_s - up_s
            found["trial_text"] = self.trial_text
        return found
