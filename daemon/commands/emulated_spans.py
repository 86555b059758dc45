"""The spans that emulated parts have: of the session of `span`, with the doors open."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from cabinvigil.daemon.commands.on_wires import run_on_wires
from cabinvigil.daemon.rehearsal.cabin import fresh_air
from cabinvigil.daemon.settings.config import PartSettings, Settings
from cabinvigil.daemon.span.fresh_air import is_fresh
from cabinvigil.daemon.span.kept import Span, options_of
from cabinvigil.daemon.span.session import MOVE_IT, SpanSession
from cabinvigil.daemon.span.ways import WAYS
from cabinvigil.drivers.kit.steps import PartInfo


@dataclass(frozen=True, slots=True)
class EmulatedSpans:
    """What a session of spanning made of the emulated parts of a config."""

    spans: Mapping[str, Span]
    """By part."""
    refused: tuple[str, ...] = ()
    """Why parts have none; a sentence each."""

    def make(self, name: str, part: PartSettings, info: PartInfo) -> Any:
        """Make a part's codec with what its span found; see `MakeCodec`."""
        own = [self.spans[name]] if name in self.spans else []
        return info.make({**part.options, **options_of(own)})

    def of(self, name: str, at: datetime) -> list[Span]:
        """Return a part's span, as if it were of that moment."""
        return [replace(self.spans[name], at=at)] if name in self.spans else []


def emulated_spans(settings: Settings, seed: int = 1) -> EmulatedSpans:
    """Span the emulated parts of a config in fresh air, in virtual time.

    Args:
        settings: whose parts; those that keep a span get one.
        seed: of the parts' own errors: another seed is another set of parts.
    """
    names = tuple(
        name
        for name, part in settings.parts.items()
        if part.kind in WAYS
        and WAYS[part.kind].kept
        and not WAYS[part.kind].on_part  # nothing of the config's comes of that
    )
    if not names:
        return EmulatedSpans({})
    session = SpanSession(
        settings,
        names,
        folder=None,
        look_s=None,
        only_look=False,
        say=lambda _line: None,
        ask=lambda _prompt: MOVE_IT,
        is_quick=True,
    )
    outcome = run_on_wires(
        session.run, settings, fresh_air(settings.cabin), seed=seed, is_evening=True
    )
    if not is_fresh(outcome.saw):
        why = "; ".join(one.text for one in outcome.saw if one.is_good is False)
        return EmulatedSpans({}, (f"No sensor is calibrated: {why}.",))
    return EmulatedSpans(
        {span.part: span for span in outcome.spans if not span.void},
        tuple(
            f"{part.name} is not calibrated: {part.refused}."
            for part in outcome.parts
            if part.refused
        ),
    )
