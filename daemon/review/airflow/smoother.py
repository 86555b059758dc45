"""The way back through a filtered night: what later readings say of earlier moments."""

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from cabinvigil.daemon.review.airflow.kalman import TINY, FilterNode, Smoothed


class _Back(NamedTuple):
    """`r` and `N` of the disturbance smoother (Durbin and Koopman 2012, chapter 4)."""

    c: float = 0.0
    k: float = 0.0
    g: float = 0.0
    s: float = 0.0
    cc: float = 0.0
    ck: float = 0.0
    cg: float = 0.0
    cs: float = 0.0
    kk: float = 0.0
    kg: float = 0.0
    ks: float = 0.0
    gg: float = 0.0
    gs: float = 0.0
    ss: float = 0.0


def smooth(nodes: Sequence[tuple[Any, ...]], stays: float) -> Smoothed:
    """Smooth back over the way of `forward`.

    Args:
        nodes: the way.
        stays: the share of a gust that stays over one step.
    """
    count = len(nodes)
    found = Smoothed(*([0.0] * count for _ in range(7)))
    r = _Back()
    for n in range(count - 1, -1, -1):
        node = FilterNode(*nodes[n])
        # a change after this node: what the readings say against what they may say
        found.z_k[n] = r.k / math.sqrt(r.kk) if r.kk > TINY else 0.0
        found.z_s[n] = r.s / math.sqrt(r.ss) if r.ss > TINY else 0.0
        if node.anew:
            r = r._replace(s=0.0, cs=0.0, ks=0.0, gs=0.0, ss=0.0)
        r = _back_step(r, node, stays)
        if node.f > 0.0:
            r = _back_reading(r, node)
        _settle(found, n, node, r)
    return found


def _back_step(r: _Back, node: FilterNode, stays: float) -> _Back:
    """Go back over one step: `T' r` and `T' N T`."""
    rc, rk, rg, rs, cc, ck, cg, cs, kk, kg, ks, gg, gs, ss = r
    if not node.carried:
        rc = cc = ck = cg = cs = 0.0
    out, came = node.out, node.came
    cg, kg, gg, gs = stays * cg, stays * kg, stays * stays * gg, stays * gs
    square, across = out * out * cc, out * came * cc
    return _Back(
        *(rc, rk - out * rc, stays * rg - out * rc, rs + came * rc),
        *(cc, ck - out * cc, cg - out * cc, cs + came * cc),
        square - 2.0 * out * ck + kk,
        square - out * (cg + ck) + kg,
        came * ck - out * cs - across + ks,
        square - 2.0 * out * cg + gg,
        came * cg - out * cs - across + gs,
        came * came * cc + 2.0 * came * cs + ss,
    )


def _back_reading(r: _Back, node: FilterNode) -> _Back:
    """Go back over a reading: `L = I - gain Z`, `L' r + Z' v / F`, `L' N L + ...`."""
    rc, rk, rg, rs, cc, ck, cg, cs, kk, kg, ks, gg, gs, ss = r
    f = node.f
    _, _, _, _, at_cc, at_ck, at_cg, at_cs, *_ = node.at
    stays, of_k, of_g, of_s = 1.0 - at_cc / f, at_ck / f, at_cg / f, at_cs / f
    uc = stays * cc - of_k * ck - of_g * cg - of_s * cs
    uk = stays * ck - of_k * kk - of_g * kg - of_s * ks
    ug = stays * cg - of_k * kg - of_g * gg - of_s * gs
    us = stays * cs - of_k * ks - of_g * gs - of_s * ss
    return _Back(
        *(node.v / f + stays * rc - of_k * rk - of_g * rg - of_s * rs, rk, rg, rs),
        *(1.0 / f + stays * uc - of_k * uk - of_g * ug - of_s * us, uk, ug, us),
        *(kk, kg, ks, gg, gs, ss),
    )


def _settle(found: Smoothed, n: int, node: FilterNode, r: _Back) -> None:
    """Tell `a + P r` and `P - P N P` of this node, for k with its gust, and for s."""
    _, k, g, s, _, ck, cg, cs, kk, kg, ks, gg, gs, ss = node.at
    air = (ck + cg, kk + kg, kg + gg, ks + gs)
    source = (cs, ks, gs, ss)
    found.k[n] = k + g + _dot(air, r[:4])
    found.s[n] = s + _dot(source, r[:4])
    through_air, through_source = _times(air, r), _times(source, r)
    found.var_k[n] = max(kk + 2.0 * kg + gg - _dot(through_air, air), TINY)
    found.var_s[n] = max(ss - _dot(through_source, source), TINY)
    found.cov[n] = ks + gs - _dot(through_air, source)


_Four = tuple[float, float, float, float]


def _dot(a: _Four, b: _Four) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2] + a[3] * b[3]


def _times(a: _Four, r: _Back) -> _Four:
    """Give `a N`."""
    c, k, g, s = a
    return (
        c * r.cc + k * r.ck + g * r.cg + s * r.cs,
        c * r.ck + k * r.kk + g * r.kg + s * r.ks,
        c * r.cg + k * r.kg + g * r.gg + s * r.gs,
        c * r.cs + k * r.ks + g * r.gs + s * r.ss,
    )
