"""Tolerance factors of the normal distribution: how many standard deviations hold a share of all sheets.

With mean and standard deviation estimated from n values, mean +- k s holds at least the share p of all values with
confidence g. Definition and Howe's approximation: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3. We solve
the definition itself: for the few sheets that a home user prints, Howe's factor is 2 % high at n = 3 and from n = 7
on a little low, so that its promise is not quite kept; the exact one costs a millisecond. Howe's stays beside it as a
check.

A distance has two axes, and both tell of its scatter: ``radius_factor`` pools them. No table of it is known to us for
axes that differ; it follows the same definition, with Howe's reading of the mean's own error, and is checked in the
tests by simulation and, for equal axes, against the chi-squared form (Krishnamoorthy and Mathew, Statistical
Tolerance Regions, 2009, chapter 9, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from statistics import NormalDist

from server.errors import BadValue

_NORMAL = NormalDist()
# Rollers slip along the feed and guides leave play across it: one axis may scatter nearly twice as the other does.
UNEQUAL = 1.9
_NODES = 64  # Simpson's rule over the mean's own scatter; agrees with the published table to its last digit


def chi2_beyond(value: float, dof: int) -> float:
    """The chance that chi-squared with ``dof`` degrees of freedom exceeds ``value``: the finite sum for whole dof.

    Source: Abramowitz and Stegun, 26.4.4 and 26.4.5 (from memory).
    """
    if value <= 0:
        return 1.0
    half = value / 2
    if dof % 2 == 0:
        term = total = math.exp(-half)
        start = 1.0
    else:
        total = math.erfc(math.sqrt(half))
        term = math.exp(-half) * math.sqrt(half) / math.gamma(1.5)
        start = 1.5
        if dof == 1:
            return total
        total += term
    for step in range((dof - 1) // 2 - (dof % 2)):
        term *= half / (start + step)
        total += term
    return min(1.0, total)


def f_beyond(value: float, dof_over: int, dof_under: int) -> float:
    """The chance that F with (``dof_over``, ``dof_under``) degrees of freedom exceeds ``value``; dof_over is even.

    The finite sum of the incomplete beta function. Source: Abramowitz and Stegun, 26.6.4 (from memory).
    """
    x = dof_under / (dof_under + dof_over * max(value, 0.0))
    term = total = 1.0
    for step in range(1, dof_over // 2):
        term *= (dof_under / 2 + step - 1) / step * (1 - x)
        total += term
    return min(1.0, float(x ** (dof_under / 2) * total))


def chi2_quantile(chance: float, dof: int) -> float:
    """The value that chi-squared stays below with ``chance``, by bisection."""
    low, high = 0.0, float(dof)
    while 1.0 - chi2_beyond(high, dof) < chance:
        high *= 2
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if 1.0 - chi2_beyond(middle, dof) < chance else (low, middle)
        if high - low < 1e-12 * high:
            break
    return (low + high) / 2


@lru_cache(maxsize=256)
def tolerance_factor(count: int, share: float = 0.95, confidence: float = 0.95) -> float:
    """k such that mean +- k s of ``count`` values holds ``share`` of all values with ``confidence``.

    Solves  E_z[ P( chi2_(n-1) > (n-1) r(z)^2 / k^2 ) ] = confidence,  z the mean's error, normal with variance 1/n,
    and r(z) the half width around it that holds ``share``:  Phi(z + r) - Phi(z - r) = share.
    Raises BadValue for fewer than two values or for shares outside 0 to 1.
    """
    _check(count, share, confidence)
    reach = 8.0 / math.sqrt(count)
    step = reach / _NODES
    nodes = []
    for number in range(_NODES + 1):
        z = number * step
        simpson = 1 if number in (0, _NODES) else 4 if number % 2 else 2
        density = math.sqrt(count / (2 * math.pi)) * math.exp(-count * z * z / 2)
        nodes.append((2 * simpson * step / 3 * density, _half_width(z, share) ** 2))

    def kept(k: float) -> float:
        return sum(weight * chi2_beyond((count - 1) * r2 / (k * k), count - 1) for weight, r2 in nodes)

    low, high = _NORMAL.inv_cdf((1 + share) / 2), 1000.0
    while high - low > 1e-9 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if kept(middle) < confidence else (low, middle)
    return (low + high) / 2


@lru_cache(maxsize=64)
def radius_factor(count: int, share: float = 0.95, confidence: float = 0.95, unequal: float = UNEQUAL) -> float:
    """K such that K sqrt(sx^2 + sy^2), of ``count`` points' standard deviations, holds ``share`` of all points.

    Solves  K^2 q = (1 + 1/n) R^2  for axes of which one scatters ``unequal`` times the other: R is the true radius that
    holds ``share``, q what the pooled variance stays above with ``confidence``. Rounder scatter keeps the promise
    with more to spare. Raises BadValue as ``tolerance_factor`` does.
    """
    _check(count, share, confidence)
    wide, dof = unequal * unequal, count - 1
    lowest = _solved(lambda total: _pooled_below(total, wide, dof) - (1 - confidence), 1e-9, 100.0)
    radius = _solved(lambda r: _within(r, unequal) - share, 0.1, 100.0)
    return radius * math.sqrt((1 + 1 / count) / lowest)


def _pooled_below(total: float, wide: float, dof: int) -> float:
    """The chance that wide A + B is below ``total``; A and B are chi-squared over ``dof``, by Simpson over sqrt A."""
    top = math.sqrt(total * dof / wide)
    constant = math.log(2.0) * (1 - dof / 2) - math.lgamma(dof / 2)

    def part(root: float) -> float:
        rest = total * dof - wide * root * root
        density = math.exp(constant + (dof - 1) * math.log(root) - root * root / 2) if root > 0 else float(dof == 1)
        return density * (1.0 - chi2_beyond(rest, dof))

    return _simpson(part, top)


def _within(radius: float, stretch: float) -> float:
    """The chance that a point with deviations ``stretch`` and 1 along its axes lies within ``radius``."""
    def part(x: float) -> float:
        high = math.sqrt(max(0.0, radius * radius - x * x))
        return 2 * _NORMAL.pdf(x / stretch) / stretch * (2 * _NORMAL.cdf(high) - 1)

    return _simpson(part, radius)


def _simpson(part: Callable[[float], float], top: float, steps: int = 200) -> float:
    """The integral from 0 to ``top``."""
    values = [part(top * step / steps) for step in range(steps + 1)]
    return top / steps / 3 * (values[0] + values[-1] + 4 * sum(values[1:-1:2]) + 2 * sum(values[2:-1:2]))


def _solved(rises: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function crosses 0, by bisection."""
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if rises(middle) < 0 else (low, middle)
    return (low + high) / 2


def howe_factor(count: int, share: float = 0.95, confidence: float = 0.95) -> float:
    """Howe's approximation, with Guenther's reading of it: z sqrt((n-1)(1 + 1/n) / chi2_(1-confidence, n-1)).

    Source: NIST/SEMATECH e-Handbook, 7.2.6.3. Raises BadValue as ``tolerance_factor`` does.
    """
    _check(count, share, confidence)
    z = _NORMAL.inv_cdf((1 + share) / 2)
    return z * math.sqrt((count - 1) * (1 + 1 / count) / chi2_quantile(1 - confidence, count - 1))


def _check(count: int, share: float, confidence: float) -> None:
    if count < 2:
        raise BadValue(f"count: {count} value has no scatter.", "Give two or more; five make a useful bound.")
    for name, value in (("share", share), ("confidence", confidence)):
        if not 0 < value < 1:
            raise BadValue(f"{name}: {value:g} is outside 0 to 1.", "Use 0.95 for 95 %.")


def _half_width(z: float, share: float) -> float:
    """r with Phi(z + r) - Phi(z - r) = share, by Newton's method from above, where the curve is concave."""
    r = z + _NORMAL.inv_cdf((1 + share) / 2)
    for _ in range(60):
        slope = _NORMAL.pdf(z + r) + _NORMAL.pdf(z - r)
        step = (_NORMAL.cdf(z + r) - _NORMAL.cdf(z - r) - share) / slope
        r -= step
        if abs(step) < 1e-13:
            break
    return r
