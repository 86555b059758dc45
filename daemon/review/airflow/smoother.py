"""The way back through a filtered night: what later readings say of earlier moments."""

import math
from collections.abc import Sequence

from cabinvigil.daemon.review.airflow.kalman import TINY, FilterNode, Smoothed

_Back = tuple[float, ...]
"""`r` and `N` of the disturbance smoother (Durbin and Koopman 2012, chapter 4), in the
order of a `FilterNode`'s `at`; plain tuples, since naming costs a third of the time."""
_NOTHING: _Back = (0.0,) * 14
_K, _S, _KK, _SS = 1, 3, 8, 13


def smooth(nodes: Sequence[FilterNode], stays: float) -> Smoothed:
    """Smooth back over the way of `forward`.

    Args:
        nodes: the way.
        stays: the share of a gust that stays over one step.
    """
    count = len(nodes)
    found = Smoothed(*([0.0] * count for _ in range(7)))
    r = _NOTHING
    for n in range(count - 1, -1, -1):
        at, v, f, out, came, carried, anew, _, _ = nodes[n]
        # a change after this node: what the readings say against what they may say
        found.z_k[n] = r[_K] / math.sqrt(r[_KK]) if r[_KK] > TINY else 0.0
        found.z_s[n] = r[_S] / math.sqrt(r[_SS]) if r[_SS] > TINY else 0.0
        r = _back_step(r, out, came, stays, (carried, anew))
        if f > 0.0:
            r = _back_reading(r, at, v, f)
        _settle(found, n, at, r)
    return found


def _back_step(
    r: _Back, out: float, came: float, stays: float, is_whole: tuple[bool, bool]
) -> _Back:
    """Go back over one step: `T' r` and `T' N T`."""
    rc, rk, rg, rs, cc, ck, cg, cs, kk, kg, ks, gg, gs, ss = r
    carried, anew = is_whole
    if anew:
        rs = cs = ks = gs = ss = 0.0
    if not carried:
        rc = cc = ck = cg = cs = 0.0
    cg, kg, gg, gs = stays * cg, stays * kg, stays * stays * gg, stays * gs
    square, across = out * out * cc, out * came * cc
    return (
        rc,
        rk - out * rc,
        stays * rg - out * rc,
        rs + came * rc,
        cc,
        ck - out * cc,
        cg - out * cc,
        cs + came * cc,
        square - 2.0 * out * ck + kk,
        square - out * (cg + ck) + kg,
        came * ck - out * cs - across + ks,
        square - 2.0 * out * cg + gg,
        came * cg - out * cs - across + gs,
        came * came * cc + 2.0 * came * cs + ss,
    )


def _back_reading(r: _Back, at: _Back, v: float, f: float) -> _Back:
    """Go back over a reading: `L = I - gain Z`, `L' r + Z' v / F`, `L' N L + ...`."""
    rc, rk, rg, rs, cc, ck, cg, cs, kk, kg, ks, gg, gs, ss = r
    _, _, _, _, at_cc, at_ck, at_cg, at_cs, *_ = at
    stays, of_k, of_g, of_s = 1.0 - at_cc / f, at_ck / f, at_cg / f, at_cs / f
    uc = stays * cc - of_k * ck - of_g * cg - of_s * cs
    uk = stays * ck - of_k * kk - of_g * kg - of_s * ks
    ug = stays * cg - of_k * kg - of_g * gg - of_s * gs
    us = stays * cs - of_k * ks - of_g * gs - of_s * ss
    return (
        v / f + stays * rc - of_k * rk - of_g * rg - of_s * rs,
        rk,
        rg,
        rs,
        1.0 / f + stays * uc - of_k * uk - of_g * ug - of_s * us,
        uk,
        ug,
        us,
        kk,
        kg,
        ks,
        gg,
        gs,
        ss,
    )


def _settle(found: Smoothed, n: int, at: _Back, r: _Back) -> None:
    """Report `a + P r` and `P - P N P` of this node, for k with its gust, and for s."""
    _, k, g, s, _, ck, cg, cs, kk, kg, ks, gg, gs, ss = at
    rc, rk, rg, rs, ncc, nck, ncg, ncs, nkk, nkg, nks, ngg, ngs, nss = r
    ac, ak, ag, as_ = ck + cg, kk + kg, kg + gg, ks + gs
    found.k[n] = k + g + ac * rc + ak * rk + ag * rg + as_ * rs
    found.s[n] = s + cs * rc + ks * rk + gs * rg + ss * rs
    # of both through N
    c = ac * ncc + ak * nck + ag * ncg + as_ * ncs
    by_k = ac * nck + ak * nkk + ag * nkg + as_ * nks
    by_g = ac * ncg + ak * nkg + ag * ngg + as_ * ngs
    by_s = ac * ncs + ak * nks + ag * ngs + as_ * nss
    found.var_k[n] = max(
        kk + 2.0 * kg + gg - (c * ac + by_k * ak + by_g * ag + by_s * as_), TINY
    )
    found.cov[n] = ks + gs - (c * cs + by_k * ks + by_g * gs + by_s * ss)
    c = cs * ncc + ks * nck + gs * ncg + ss * ncs
    by_k = cs * nck + ks * nkk + gs * nkg + ss * nks
    by_g = cs * ncg + ks * nkg + gs * ngg + ss * ngs
    by_s = cs * ncs + ks * nks + gs * ngs + ss * nss
    found.var_s[n] = max(ss - (c * cs + by_k * ks + by_g * gs + by_s * ss), TINY)
