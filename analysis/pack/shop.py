"""What the shop's own jobs told of friction and of what a shim does: values that an inference may start from in place of priors."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.pack import priors
from analysis.verdict.apart import Scatter
from analysis.window import Basis

UNKNOWN_OIL = "unknown"
"""What a sheet says where nobody knows the oil."""

TWO_SIDED_95 = 1.959964
"""Half the width of a 95 % interval in standard deviations."""

LEAST_TOLD = 0.1
"""Share of what is known of a unit's friction that must come from its own pulls; less than that only repeats the prior."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrictionSeen:
    """Friction of one unit's plates, as answered from its springs and pulls.

    Parameters
    ----------
    job, oil
        Number of the job; the oil as the pack sheet names it.
    basis
        The moment that the friction belongs to.
    friction, low, high
        Median and 95 % interval.
    """

    job: str
    oil: str
    basis: Basis
    friction: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SensitivitySeen:
    """What a change of shims alone did to one unit: two series, before and after, with the same parts and oil.

    Parameters
    ----------
    job, unit, oil, arrangement
        Which unit, with which oil, read in which arrangement.
    nm_per_mm, u_nm_per_mm
        Change of breakaway per mm of shim in all, signed, and its standard uncertainty.
    torque_nm
        Mean of the two series.
    """

    job: str
    unit: str
    oil: str
    arrangement: str
    nm_per_mm: float
    u_nm_per_mm: float
    torque_nm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OilFriction:
    """Friction with one oil over the shop's units: median of such packs, how well that is known, how many told it.

    The next pack with the oil lies about `friction` with the scatter from pack to pack (`priors.FRICTION_REL_SD`) as well.
    """

    oil: str
    basis: Basis
    friction: float
    log_sd: float
    units: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FrictionPrior:
    """What friction at breakaway is believed to be before a unit was pulled: mean of its log, variance from pack to pack.

    `known`: the oil's median needs no mixing of oils; `units`: how many of the shop's units it rests on, 0 for the table alone.
    """

    log_mean: float
    variance: float
    known: bool
    units: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopHistory:
    """All of it; empty where the shop has no history.

    `pull_scatter` is that from pull to pull within a series, `rebuild_scatter` that of the mean of a series from one assembly to
    the next with nothing changed; relative.
    """

    frictions: tuple[FrictionSeen, ...] = ()
    sensitivities: tuple[SensitivitySeen, ...] = ()
    pull_scatter: Scatter | None = None
    rebuild_scatter: Scatter | None = None

    def friction_prior(self, oil: str) -> FrictionPrior:
        """What the table of oils and the shop's own units together say of friction with an oil.

        The median of the shop's packs with an oil differs from the table's by `priors.BETWEEN_OILS` of the variance; it is the mean
        of the two by their inverse variances (least squares, from memory), and the rest of the variance is from pack to pack.
        """
        named = _folded(oil)
        table = named in priors.OILS
        mean, sd = prior_of(oil, Basis.BREAKAWAY)
        between = priors.BETWEEN_OILS * priors.FRICTION_REL_SD**2
        within = priors.FRICTION_REL_SD**2 - between
        told = self.friction_of(oil, Basis.BREAKAWAY) or self.friction_of(oil, Basis.SLIDING)
        if told is None or named == UNKNOWN_OIL:
            return FrictionPrior(log_mean=mean, variance=priors.FRICTION_REL_SD**2, known=table)
        log = math.log(told.friction)
        if told.basis is Basis.SLIDING:
            ratios = [priors.OILS[named]] if table else list(priors.OILS.values())
            log += sum(math.log(one.break_over_slide) for one in ratios) / len(ratios)
        between += sd**2 - priors.FRICTION_REL_SD**2
        weights = 1.0 / between, 1.0 / told.log_sd**2
        return FrictionPrior(
            log_mean=(mean * weights[0] + log * weights[1]) / sum(weights),
            variance=within + 1.0 / sum(weights),
            known=True,
            units=told.units,
        )

    def slope_of(self, unit: str) -> tuple[float, float, int] | None:
        """Relative change of torque per mm of shim over units of that name: mean, standard uncertainty for the next, how many."""
        wanted = _folded(unit)
        seen = [one for one in self.sensitivities if _folded(one.unit) == wanted and one.torque_nm > 0]
        if not seen:
            return None
        slopes = [one.nm_per_mm / one.torque_nm for one in seen]
        rough = abs(sum(slopes) / len(slopes))
        own = [(one.u_nm_per_mm / one.torque_nm) ** 2 + (priors.SHOP_SLOPE_SD * rough) ** 2 for one in seen]
        weight = sum(1.0 / variance for variance in own)
        mean = sum(slope / variance for slope, variance in zip(slopes, own, strict=True)) / weight
        return mean, math.hypot(1.0 / math.sqrt(weight), priors.SHOP_SLOPE_SD * abs(mean)), len({one.job for one in seen})

    def friction_of(self, oil: str, basis: Basis) -> OilFriction | None:
        """Friction with an oil, case and blanks aside; None where no unit told of it.

        Each unit's answer rests in part on the prior of its oil: that part is taken out first (a product of normal densities of
        the logarithm, divided), so that it does not count once a unit. Units are weighted by their own uncertainty and the
        scatter from pack to pack (inverse variance: least squares, from memory).

        Parameters
        ----------
        oil
            As a sheet names it.
        basis
            The moment that the friction belongs to.

        Returns
        -------
        OilFriction or None
            Median over the units, and the standard deviation of its log.
        """
        wanted = _folded(oil)
        told = [_without_prior(one) for one in self.frictions if _folded(one.oil) == wanted and one.basis is basis]
        pairs = [pair for pair in told if pair is not None]
        if not pairs:
            return None
        weights = [1 / (variance + priors.FRICTION_REL_SD**2) for _, variance in pairs]
        mean = sum(weight * log for weight, (log, _) in zip(weights, pairs, strict=True)) / sum(weights)
        return OilFriction(
            oil=oil, basis=basis, friction=math.exp(mean), log_sd=1 / math.sqrt(sum(weights)), units=len(pairs)
        )  # fmt: skip


def prior_of(oil: str, basis: Basis) -> tuple[float, float]:
    """Mean and standard deviation of the log of friction before a unit was pulled; an unknown oil is any of the known ones.

    Parameters
    ----------
    oil
        As a sheet names it, case and blanks aside.
    basis
        The moment that the friction belongs to.

    Returns
    -------
    mean, sd : float
        Of the natural logarithm; the deviation is that from pack to pack, and between oils where the oil is not known.
    """
    known = priors.OILS.get(_folded(oil))
    logs = [math.log(_at(one, basis)) for one in ([known] if known is not None else priors.OILS.values())]
    mean = sum(logs) / len(logs)
    return mean, math.sqrt(priors.FRICTION_REL_SD**2 + sum((log - mean) ** 2 for log in logs) / len(logs))


def sensitivity(before: Sequence[float], after: Sequence[float], change_mm: float, scatter: float) -> tuple[float, float]:
    """Change of torque per mm between two series, and its standard uncertainty.

    Parameters
    ----------
    before, after
        Pulls of the two series, N.m.
    change_mm
        Change of all shims together, not 0.
    scatter
        Relative standard deviation from pull to pull; the scatter from one assembly to the next comes on top.

    Returns
    -------
    slope, u : float
        N.m per mm; the slope is signed.

    Examples
    --------
    >>> sensitivity([40.0, 40.0], [50.0, 50.0], 0.1, 0.0)[0]
    100.0
    """
    means = [sum(pulls) / len(pulls) for pulls in (before, after)]
    rebuild = priors.REBUILD_TO_REBUILD.mean
    variance = sum(mean**2 * (scatter**2 / len(pulls) + rebuild**2) for mean, pulls in zip(means, (before, after), strict=True))
    return (means[1] - means[0]) / change_mm, math.sqrt(variance) / abs(change_mm)


def _at(oil: priors.OilPrior, basis: Basis) -> float:
    return oil.friction if basis is Basis.BREAKAWAY else oil.friction / oil.break_over_slide


def _folded(text: str) -> str:
    return "".join(text.split()).casefold()


def _without_prior(seen: FrictionSeen) -> tuple[float, float] | None:
    """Mean and variance of the log of friction as the unit's own pulls told it; None where they told next to nothing."""
    mean, sd = prior_of(seen.oil, seen.basis)
    if not 0 < seen.low < seen.high or seen.friction <= 0:
        return None
    own_sd = math.log(seen.high / seen.low) / (2 * TWO_SIDED_95)
    precision = 1 / own_sd**2 - 1 / sd**2
    if precision < LEAST_TOLD / own_sd**2:
        return None
    return (math.log(seen.friction) / own_sd**2 - mean / sd**2) / precision, 1 / precision
