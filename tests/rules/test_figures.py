"""What each rule takes unsaid, and what it lets a config say."""

from tests.tools.figures import moved


def test_no_margin_moved_by_itself() -> None:
    """Each default and each allowed end is the one that was looked up or chosen."""
    assert moved("rules") == []
