"""A straight line through the last minutes, as a baseline: plain least squares."""

from collections import deque


class LineFit:
    """Least squares over a moving window, each step at constant cost."""

    def __init__(self, window_s: float, least: int = 12) -> None:
        self.window_s = window_s
        self.least = least
        self.points: deque[tuple[float, float]] = deque()
        self.sums = [0.0, 0.0, 0.0, 0.0]

    def add(self, t: float, value: float) -> None:
        """Take one reading, and drop those that are too old."""
        self._count(t, value, 1.0)
        self.points.append((t, value))
        while self.points[0][0] < t - self.window_s:
            self._count(*self.points.popleft(), -1.0)

    def _count(self, t: float, value: float, sign: float) -> None:
        for i, term in enumerate((t, value, t * t, t * value)):
            self.sums[i] += sign * term

    def at_end(self) -> tuple[float, float] | None:
        """Give value and slope (per s) at the last reading."""
        n = len(self.points)
        if n < self.least:
            return None
        s_t, s_v, s_tt, s_tv = self.sums
        spread = s_tt - s_t * s_t / n
        if spread <= 0.0:
            return None
        slope = (s_tv - s_t * s_v / n) / spread
        return s_v / n + slope * (self.points[-1][0] - s_t / n), slope
