"""A whole config's core: its parts, its language, and the day that lives count from."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.values import changed


def service_left(wall: datetime | None) -> set[str]:
    """The parts whose service life is counted."""
    facts = compose_settings(example(), wall=wall).setup.layout.part_facts
    return {name for name, each in facts.items() if "service_left_s" in each}


@pytest.mark.parametrize("wall", [None, EARLIEST - timedelta(days=1)])
def test_no_life_is_counted_from_a_clock_that_cannot_be_right(
    wall: datetime | None,
) -> None:
    """Else a Pi that boots in the past would tell of decades left."""
    assert service_left(wall) == set()
    aged = {n for n, part in example().parts.items() if part.in_service is not None}
    assert service_left(datetime(2026, 12, 1, tzinfo=UTC)) == aged != set()


def test_sentences_are_in_the_configs_language_or_as_the_caller_says() -> None:
    settings = example()
    german = replace(settings, watch=changed(settings.watch, language="de"))

    def said(build: Any) -> str:
        return str(build.setup.render("co-level", Priority.HIGH, "", {}))

    assert said(compose_settings(german)) != said(compose_settings(settings))
    own = compose_settings(german, lambda *_: "as the caller says")
    assert said(own) == "as the caller says"
