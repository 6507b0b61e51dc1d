"""The shapes of an uncertain number, each on its own unit scale.

Groundwork of :mod:`ranges`: a number is ``start + scale * unit``. Bounded shapes have their unit on 0..1; the
lognormal's is ``exp(sigma z) - 1``, counted from the likely value, which keeps its digits when the curve is nearly
symmetric. Upper tails have functions of their own, because ``1 - p`` has lost its digits there.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CELLS, Z_END = 1024, 8.0
"""Cells that a range is cut into for its nodes, and where a lognormal is cut off, in deviations."""

Z_OF_90_PERCENT = 1.2815515655446004
"""Standard normal value that 90 % of cases stay below."""


class UnitCurve(ABC):
    """One shape on its unit scale."""

    mean: float
    variance: float

    @abstractmethod
    def cdf(self, u: Floats) -> Floats:
        """Chance of at most ``u``."""

    @abstractmethod
    def survival(self, u: Floats) -> Floats:
        """Chance of more than ``u``."""

    @abstractmethod
    def area(self, u: Floats) -> Floats:
        """Integral of the cdf up to ``u``: mean shortfall of the number below ``u``."""

    @abstractmethod
    def quantile(self, p: Floats) -> Floats:
        """Value with the chance ``p`` below it."""

    @abstractmethod
    def partial(self, p: Floats) -> Floats:
        """Integral of the quantile from 0 to ``p``."""

    @abstractmethod
    def breaks(self) -> Floats:
        """Points between which the curve is smooth, and beyond which it no longer counts."""


class BoundedCurve(UnitCurve):
    """A shape on 0..1; its upper tail is the lower tail of its mirror image."""

    mode: float

    @abstractmethod
    def mirrored(self) -> BoundedCurve:
        """The curve of ``1 - unit``."""

    def survival(self, u: Floats) -> Floats:
        return self.mirrored().cdf(1.0 - u)

    def breaks(self) -> Floats:
        return np.array([0.0, self.mode, 1.0])


class Uniform(BoundedCurve):
    """Every value as likely as any other."""

    mean = mode = 0.5
    variance = 1.0 / 12.0

    def mirrored(self) -> Uniform:
        return self

    def cdf(self, u: Floats) -> Floats:
        return np.clip(u, 0.0, 1.0)

    def area(self, u: Floats) -> Floats:
        return np.clip(u, 0.0, 1.0) ** 2 / 2.0 + np.maximum(u - 1.0, 0.0)

    def quantile(self, p: Floats) -> Floats:
        return np.asarray(p, dtype=float)

    def partial(self, p: Floats) -> Floats:
        return p * p / 2.0


class Triangular(BoundedCurve):
    """A triangle with its top at ``mode``."""

    def __init__(self, mode: float) -> None:
        self.mode = mode
        self.mean = (1.0 + mode) / 3.0
        self.variance = (1.0 - mode + mode * mode) / 18.0

    def mirrored(self) -> Triangular:
        return Triangular(1.0 - self.mode)

    def cdf(self, u: Floats) -> Floats:
        u, c, tiny = np.clip(u, 0.0, 1.0), self.mode, 1e-300
        return np.where(u < c, u * u / max(c, tiny), 1.0 - (1.0 - u) ** 2 / max(1.0 - c, tiny))

    def area(self, u: Floats) -> Floats:
        over, u, c, tiny = np.maximum(u - 1.0, 0.0), np.clip(u, 0.0, 1.0), self.mode, 1e-300
        falling = u - self.mean + (1.0 - u) ** 3 / (3.0 * max(1.0 - c, tiny))
        return over + np.where(u < c, u**3 / (3.0 * max(c, tiny)), falling)

    def quantile(self, p: Floats) -> Floats:
        c = self.mode
        return np.where(p < c, np.sqrt(c * p), 1.0 - np.sqrt((1.0 - c) * (1.0 - p)))

    def partial(self, p: Floats) -> Floats:
        c = self.mode
        rising = 2.0 / 3.0 * math.sqrt(c) * np.minimum(p, c) ** 1.5
        left = np.clip(1.0 - p, 0.0, 1.0 - c)
        falling = 2.0 / 3.0 * math.sqrt(1.0 - c) * ((1.0 - c) ** 1.5 - left**1.5)
        return np.asarray(rising + np.maximum(p - c, 0.0) - falling)


class Pert(BoundedCurve):
    """A beta curve whose parameters add up to six."""

    def __init__(self, alpha: float, beta: float) -> None:
        self.alpha, self.beta = alpha, beta
        whole = alpha + beta
        self.mode = (alpha - 1.0) / (whole - 2.0)
        self.mean = alpha / whole
        self.variance = alpha * beta / (whole * whole * (whole + 1.0))

    def mirrored(self) -> Pert:
        return Pert(self.beta, self.alpha)

    def cdf(self, u: Floats) -> Floats:
        from scipy import special

        return np.asarray(special.betainc(self.alpha, self.beta, np.clip(u, 0.0, 1.0)))

    def area(self, u: Floats) -> Floats:
        from scipy import special

        # Of E[U; U <= u] the incomplete beta with alpha + 1 is had from that with alpha.
        v = np.clip(u, 0.0, 1.0)
        edge = v**self.alpha * (1.0 - v) ** self.beta / special.beta(self.alpha, self.beta)
        within = (v - self.mean) * special.betainc(self.alpha, self.beta, v)
        return np.asarray(within + edge / (self.alpha + self.beta) + np.maximum(u - 1.0, 0.0))

    def quantile(self, p: Floats) -> Floats:
        from scipy import special

        # So far out the library's inverse may give nan, and the value is within 1e-19 of the end.
        return np.where(p < 1e-100, 0.0, special.betaincinv(self.alpha, self.beta, p))

    def partial(self, p: Floats) -> Floats:
        from scipy import special

        return np.asarray(self.mean * special.betainc(self.alpha + 1.0, self.beta, self.quantile(p)))


class Lognormal(UnitCurve):
    """``exp(sigma z) - 1`` of a standard normal z: -1 at the lower end, 0 at the median."""

    def __init__(self, sigma: float) -> None:
        self.sigma = sigma
        self.mean = math.expm1(sigma**2 / 2.0)
        self.variance = math.expm1(sigma**2) * math.exp(sigma**2)

    @staticmethod
    def through(low: float, likely: float, high: float) -> tuple[float, float]:
        """(likely less the lower end, sigma) of the curve with these at 10 %, 50 % and 90 %."""
        _check_order(low, likely, high)
        below, above = likely - low, high - likely
        if not above > below > 0.0:
            raise ValueError(
                f"a lognormal needs high - likely > likely - low > 0, not {low}, {likely}, {high}: use pert"
            )
        surplus = above - below
        return below * (above / surplus), math.log1p(surplus / below) / Z_OF_90_PERCENT

    def _z(self, u: Floats) -> Floats:
        with np.errstate(divide="ignore"):
            return np.asarray(np.log1p(np.maximum(u, -1.0)) / self.sigma)

    def cdf(self, u: Floats) -> Floats:
        from scipy import special

        return np.asarray(special.ndtr(self._z(u)))

    def survival(self, u: Floats) -> Floats:
        from scipy import special

        return np.asarray(special.ndtr(-self._z(u)))

    def area(self, u: Floats) -> Floats:
        from scipy import special

        z = self._z(u)
        above = (1.0 + self.mean) * special.ndtr(z - self.sigma)
        return np.asarray((np.maximum(u, -1.0) + 1.0) * special.ndtr(z) - above)

    def quantile(self, p: Floats) -> Floats:
        from scipy import special

        return np.asarray(np.expm1(self.sigma * special.ndtri(p)))

    def partial(self, p: Floats) -> Floats:
        from scipy import special

        return np.asarray((1.0 + self.mean) * special.ndtr(special.ndtri(p) - self.sigma) - p)

    def breaks(self) -> Floats:
        # The mean's own weight sits round z = sigma: nine deviations beyond either are kept.
        return np.expm1(self.sigma * np.arange(-9.0, math.ceil(self.sigma) + 10.0))


@dataclass(frozen=True)
class Curve:
    """A unit curve set in its place; ``scale`` is 0 for a sure number."""

    start: float
    scale: float
    unit: UnitCurve

    @classmethod
    def of(cls, low: float, likely: float, high: float, shape: str) -> Curve:
        """The curve of a range."""
        low, likely, high = float(low), float(likely), float(high)
        _check_order(low, likely, high)
        if shape not in ("pert", "triangular", "lognormal", "uniform"):
            raise ValueError(f"shape must be pert, triangular, lognormal or uniform, not {shape!r}")
        width = high - low
        if width == 0.0:
            return cls(low, 0.0, Uniform())
        if shape == "uniform":
            return cls(low, width, Uniform())
        if shape == "lognormal":
            scale, sigma = Lognormal.through(low, likely, high)
            return cls(likely, scale, Lognormal(sigma))
        mode = (likely - low) / width
        if shape == "triangular":
            return cls(low, width, Triangular(mode))
        return cls(low, width, Pert(1.0 + 4.0 * mode, 1.0 + 4.0 * (high - likely) / width))


def _check_order(low: float, likely: float, high: float) -> None:
    """Refuse what is not a range, saying what to write instead."""
    if not (math.isfinite(low) and math.isfinite(likely) and math.isfinite(high)):
        raise ValueError(f"low, likely and high must be plain numbers, not {low}, {likely}, {high}")
    if not low <= likely <= high:
        raise ValueError(f"give low <= likely <= high, not {low}, {likely}, {high}")


def range_nodes(low: float, likely: float, high: float, shape: str, count: int) -> tuple[Floats, Floats]:
    """Values of a range and their weights, for means over the range.

    Parameters
    ----------
    low, likely, high : float
        The three numbers [unit of the number].
    shape : str
        pert, triangular, lognormal or uniform [-].
    count : int
        Number of values, 1 to 20 [-].

    Returns
    -------
    nodes, weights : array (up to count,)
        Values [unit of the number] and weights above 0 [-], which add up to 1.

    Notes
    -----
    Gauss quadrature of the range: the mean is kept exactly, means of powers up to ``2 count - 1`` to about 1e-5 (the
    range is first cut into 1,024 cells). ValueError for a count outside 1..20.

    References
    ----------
    G. H. Golub, J. H. Welsch, "Calculation of Gauss quadrature rules", Mathematics of Computation 23
    (1969) 221-230.

    Examples
    --------
    >>> nodes, weights = range_nodes(-1, 0, 1, "uniform", 2)
    >>> nodes.round(3).tolist(), weights.round(3).tolist()
    ([-0.577, 0.577], [0.5, 0.5])
    """
    if not 1 <= count <= 20:
        raise ValueError(f"give 1 to 20 values, not {count}")
    curve = Curve.of(low, likely, high, shape)
    if curve.scale == 0.0:
        return np.array([curve.start]), np.array([1.0])
    u, mass = _cells(curve)
    return _gauss(curve.start + curve.scale * u, mass, count)


def _cells(curve: Curve) -> tuple[Floats, Floats]:
    """Conditional means and chances of cells of the unit curve, whose mean they keep."""
    from scipy import special

    ends = curve.unit.breaks()
    if ends[0] == 0.0 and ends[-1] == 1.0:
        edges = np.union1d((1.0 - np.cos(np.pi * np.arange(CELLS + 1) / CELLS)) / 2.0, ends)
    else:
        edges = curve.unit.quantile(special.ndtr(np.linspace(-Z_END, Z_END, CELLS + 1)))
    chance, area = curve.unit.cdf(edges), curve.unit.area(edges)
    mass, part = np.diff(chance), np.diff(edges * chance - area)
    some = mass > 1e-15
    points, mass = part[some] / mass[some], mass[some] / mass[some].sum()
    return points + (curve.unit.mean - float(mass @ points)), mass


def _gauss(points: Floats, mass: Floats, count: int) -> tuple[Floats, Floats]:
    """Gauss rule of a discrete measure, by the Lanczos process and the eigenvalues of its matrix."""
    mean = float(mass @ points)
    spread = float(np.sqrt(mass @ (points - mean) ** 2))
    t = (points - mean) / spread
    basis = [np.sqrt(mass)]
    matrix = np.zeros((count, count))
    for k in range(count):
        v = t * basis[k]
        matrix[k, k] = float(basis[k] @ v)
        for b in (*basis, *basis):  # twice: rounding
            v = v - (b @ v) * b
        if k + 1 < count:
            size = float(np.sqrt(v @ v))
            matrix[k, k + 1] = matrix[k + 1, k] = size
            basis.append(v / size)
    values, vectors = np.linalg.eigh(matrix)
    return mean + spread * values, vectors[0] ** 2
