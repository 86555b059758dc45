"""Counts how often stated intervals held the truth."""

from dataclasses import dataclass, field


@dataclass
class Coverage:
    """How often 90 % intervals held the truth."""

    held: dict[str, int] = field(default_factory=dict)
    asked: dict[str, int] = field(default_factory=dict)

    def note(self, what: str, is_held: bool) -> None:
        """Count one interval."""
        self.asked[what] = self.asked.get(what, 0) + 1
        self.held[what] = self.held.get(what, 0) + is_held

    def add(self, other: "Coverage") -> None:
        """Add another night's counts."""
        for what, count in other.asked.items():
            self.asked[what] = self.asked.get(what, 0) + count
            self.held[what] = self.held.get(what, 0) + other.held[what]
