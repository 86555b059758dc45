"""A serial part that says its count once a second."""


class Ticker:
    """Says one frame of four bytes a second: its count."""

    def __init__(self) -> None:
        self.next_s = 1.0
        self.count = 0
        self.power_ups = 0

    def due_s(self) -> float | None:
        return self.next_s

    def send(self) -> bytes:
        self.next_s += 1.0
        self.count += 1
        return b"%03d\n" % self.count

    def receive(self, data: bytes) -> bytes:
        return b"ok:" + data

    def power_up(self) -> None:
        self.power_ups += 1
