"""Sentences, put together of pieces: pure."""


def ended(text: str) -> str:
    """Return a text with one mark at its end, its own where it has one."""
    return text if text.endswith((".", "?", "!", "…")) else f"{text}."
