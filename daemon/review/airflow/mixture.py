"""What several explanations of a night found, as one answer."""

import math
from collections.abc import Sequence
from typing import NamedTuple

from cabinvigil.daemon.review.airflow.guess import Guess
from cabinvigil.daemon.review.airflow.kalman import Smoothed


class Explained(NamedTuple):
    """The best explanation, with what it and its rivals found."""

    guess: Guess
    found: Smoothed
    starts: frozenset[str]
    """The settings that the night may have begun with."""


def mixed(founds: Sequence[Smoothed], weights: Sequence[float]) -> Smoothed:
    """Mix what several explanations found: means, and variances with their spread."""
    if len(founds) == 1:
        return founds[0]
    total = math.fsum(weights)
    shares = [weight / total for weight in weights]
    count = len(founds[0].k)
    out = Smoothed(*([0.0] * count for _ in range(7)))
    for n in range(count):
        k = math.fsum(w * one.k[n] for w, one in zip(shares, founds, strict=True))
        s = math.fsum(w * one.s[n] for w, one in zip(shares, founds, strict=True))
        out.k[n], out.s[n] = k, s
        for w, one in zip(shares, founds, strict=True):
            off_k, off_s = one.k[n] - k, one.s[n] - s
            out.var_k[n] += w * (one.var_k[n] + off_k * off_k)
            out.var_s[n] += w * (one.var_s[n] + off_s * off_s)
            out.cov[n] += w * (one.cov[n] + off_k * off_s)
    return out
