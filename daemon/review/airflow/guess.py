"""What one explanation of a night says: settings of the burner, changes, unrest."""

from collections.abc import Mapping
from typing import NamedTuple

AIR = "air"
"""The kind of change that is no setting of the burner."""
WALKS_S = (0.02, 0.1, 0.4)
"""Slow change of the source in an hour, as a share: sleep deepens; a cylinder cools; a
tap is turned by a little, a thermostat cuts in and out (own judgement)."""
WALKS_K = (0.02, 0.05, 0.1, 0.2, 0.4, 0.8)
"""Slow change of k in an hour, as a share: hardly any; a cabin that warms; vents that
ice over."""
GUSTS = (0.01, 0.03, 0.045, 0.06, 0.09, 0.12, 0.18)
"""How much the wind's coming and going moves k, as a share: none, sheltered, open."""
AWAKE = (0.0, 0.5)
"""Of the CO2 that people awake give more: none are, or half of what they might."""


class BurnerSetting(NamedTuple):
    """What the burner may be set to, and what it and the people then give."""

    ppm_per_h: float
    """CO2, in ppm of the cabin's air."""
    sd_ppm_per_h: float
    heat_w: float
    """Of the burner."""
    flame_share: float = 0.0
    """Of its CO2, what comes from a flame."""
    cost: float = 0.0
    """Gain in ln likelihood that it must bring beyond the others."""
    is_between: bool = False
    """Whether it is no stop of the tap, but anywhere between: no search adds it, but it
    stands beside each change that was found."""
    is_cycling: bool = False
    """Whether it goes on and off by itself, as the warmth shows or does not."""
    beside: str = ""
    """The setting beside which a stove burns, for minutes; empty: none does."""


Settings = Mapping[str, BurnerSetting]


class Walks(NamedTuple):
    """How fast air changes, as shares of k."""

    k: float
    gust: float
    source: float = WALKS_S[0]
    awake: float = 0.0
    """Of what people awake give more, before they sleep."""

    @property
    def is_unsteady(self) -> bool:
        """Whether source or air had to be let change about as much as they may."""
        is_restless = self.k >= WALKS_K[-2] and self.gust == GUSTS[-1]
        return is_restless or self.source == WALKS_S[-1]


FIRST_WALKS = Walks(WALKS_K[3], GUSTS[3], WALKS_S[0], AWAKE[1])
CALM_WALKS = Walks(WALKS_K[1], GUSTS[0], WALKS_S[0], AWAKE[1])
"""Air that changes much by itself hides a sudden change: where a search from the first
ends in such air, another begins from calm air."""


class Guess(NamedTuple):
    """One explanation of the night."""

    start: str
    """The burner's setting at first."""
    changes: dict[int, str]
    """By node: a setting, or `AIR`."""
    walks: Walks
    is_restless: bool = False
    """Whether k changed slowly, and far, on its own: rime that closes a vent."""

    def setting_at(self, node: int) -> str:
        """Give the burner's setting before a node."""
        setting = self.start
        for n in sorted(self.changes):
            if n >= node:
                break
            if self.changes[n] != AIR:
                setting = self.changes[n]
        return setting
