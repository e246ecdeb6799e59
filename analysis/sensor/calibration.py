"""Calibration of a torque sensor: the fit of torque over indication, and what the points say of the sensor.

Fit: least squares, with the covariance of the coefficients (JCGM 100:2008, H.3; with weights ISO/TS 28037:2010). Indications are
counted from the zero of their own series, so the functions in use have no constant.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.distributions import RECTANGULAR_WIDTH
from analysis.results import CalibrationFunction
from analysis.sensor.correction import calibration_u, slope_at
from analysis.trace import Trace

# -- fit --------------------------------------------------------------------------------------------------------------------------


DEGREES = (1, 2, 3)
"""Degrees of the function that are tried; a higher one follows the scatter of five loads."""
_SLOPE_POINTS = 50
"""At so many indications the function must rise: it is of third degree at most."""


@dataclass(frozen=True, slots=True)
class Fit:
    """y = sum of coefficients[i] x**powers[i]. `deviation` is the residual standard deviation, of `degrees_of_freedom`.

    `covariance` comes of the residuals, or of the points' own uncertainties where those were given (then `chi_squared` tells
    whether the two agree: it should be about the degrees of freedom).
    """

    powers: tuple[int, ...]
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    residuals: tuple[float, ...]
    deviation: float
    degrees_of_freedom: int
    chi_squared: float | None = None

    def at(self, x: float) -> tuple[float, float]:
        """The fitted value and its standard uncertainty by the covariance of all coefficients (JCGM 100, 5.2.2)."""
        row = np.array([x**power for power in self.powers])
        return float(row @ self.coefficients), math.sqrt(max(0.0, float(row @ np.array(self.covariance) @ row)))


def fit_polynomial(x: Sequence[float], y: Sequence[float], powers: Sequence[int], u_y: Sequence[float] | None = None) -> Fit:
    """Least squares, weighted by 1/u_y² where the uncertainties of y are given.

    Columns are scaled and the problem is solved by its orthogonal factors, not by normal equations, which lose half the digits.

    Parameters
    ----------
    x
        (n,) where the function is taken; for a sensor indications in N.m.
    y
        (n,) what it should be there; for a sensor reference torques in N.m.
    powers
        Exponents of x that make up the function, p of them; without 0 it has no constant.
    u_y
        (n,) standard uncertainties of `y`, in its unit, above zero; None: all points count the same.

    Returns
    -------
    Fit
        p coefficients, in units of y per power of x, their (p, p) covariance, and the n residuals y - fit.

    Raises
    ------
    ValueError
        If there are no more points than coefficients, fewer distinct x than coefficients, or a power of x is zero at every point.
    """
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    degrees = xs.size - len(powers)
    if degrees < 1 or np.unique(xs).size < len(powers):
        raise ValueError(f"{len(powers)} coefficients need more than {len(powers)} points at as many loads")
    weight = np.ones_like(xs) if u_y is None else 1 / np.asarray(u_y, dtype=float)
    design = np.column_stack([xs**power for power in powers]) * weight[:, None]
    scale = np.sqrt((design**2).sum(axis=0))
    if not scale.all():
        raise ValueError("there is no indication in it")
    q, r = np.linalg.qr(design / scale)
    solved = np.linalg.solve(r, q.T @ (ys * weight)) / scale
    residuals = ys - np.column_stack([xs**power for power in powers]) @ solved
    squares = float(((residuals * weight) ** 2).sum())
    inverse = np.linalg.inv(r) / scale[:, None]
    unscaled = inverse @ inverse.T
    deviation = math.sqrt(float((residuals**2).sum()) / degrees)
    covariance = unscaled if u_y is not None else unscaled * squares / degrees
    return Fit(
        tuple(powers),
        tuple(solved.tolist()),
        tuple(map(tuple, covariance.tolist())),
        tuple(residuals.tolist()),
        deviation,
        degrees,
        None if u_y is None else squares,
    )


# -- a calibration's points -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Point:
    """One load of a calibration: reference torque and indication, N.m with sign; torque 0 is the arm without a weight.

    `rising`: the load was reached from below. `series` counts runs from zero up and down; `mounting` the positions in which the
    sensor was set up. Points stand in the order in which they were taken.
    """

    torque_nm: float
    indication_nm: float
    rising: bool = True
    series: int = 1
    mounting: int = 1


@dataclass(frozen=True, slots=True)
class Step:
    """What was found at one load, magnitudes in N.m; None: the points do not show it.

    residual_nm        reference torque minus fitted torque, the mean
    largest_residual_nm    the single one that is farthest from zero
    reversibility_nm   falling minus rising indication, the largest of all series
    repeatability_nm   spread of rising indications of series in one mounting, the largest
    reproducibility_nm spread of rising indications of all series, where there are several mountings
    u_nm               standard uncertainty of a later reading at this torque
    """

    torque_nm: float
    indication_nm: float
    residual_nm: float
    largest_residual_nm: float
    u_nm: float
    reversibility_nm: float | None = None
    repeatability_nm: float | None = None
    reproducibility_nm: float | None = None


@dataclass(frozen=True, slots=True)
class Findings:
    """One direction of a calibration: the function to use, the steps, what else was tried.

    deviations_nm   residual standard deviation by degree of the polynomial, for those the points allow
    zero_return_nm  the largest zero left after a series, as indicated; None: not read
    singles         reference torque and residual of every load, magnitudes in N.m
    """

    function: CalibrationFunction
    fit: Fit
    steps: tuple[Step, ...]
    deviations_nm: tuple[tuple[int, float], ...]
    zero_return_nm: float | None
    singles: tuple[tuple[float, float], ...] = ()


def examine(points: Sequence[Point], *, degree: int = 1, u_relative: float = 0.0) -> Findings:
    """All points of one direction, zeros among them.

    Torque is regressed on indication, as it is used later; where the scatter is far smaller than the range this is the other
    regression turned round. A later reading may come at a rising or a falling load, so points of both make the fit, and the
    scatter about it holds reversibility and repeatability (JCGM 100, 4.2). `u_relative` is of the reference torque.

    Parameters
    ----------
    points
        Loads in the order in which they were taken, N.m with sign; torque 0 is the arm without a weight.
    degree
        Of the polynomial to use: 1 to 3.
    u_relative
        Relative standard uncertainty of the reference torque, as a share.

    Returns
    -------
    Findings
        Everything as magnitudes in N.m; the residual deviations of all degrees that the points allow stand beside.

    Raises
    ------
    ValueError
        If there is no load, a series turns both ways, the points are too few, or the fitted torque does not rise with the
        indication.
    """
    loads, zero_return = _from_zero(points)
    x, y = [point.indication_nm for point in loads], [point.torque_nm for point in loads]
    fit = fit_polynomial(x, y, range(1, degree + 1))
    tried = [(each, _try(x, y, each)) for each in DEGREES]
    function = CalibrationFunction(
        coefficients=fit.coefficients,
        covariance=fit.covariance,
        u_nm=math.hypot(fit.deviation, abs(zero_return or 0.0) * abs(fit.coefficients[0]) / RECTANGULAR_WIDTH),
        u_relative=u_relative,
        low_nm=min(y),
        high_nm=max(y),
        end_nm=max(x),
        degrees_of_freedom=float(fit.degrees_of_freedom),
    )
    slope = slope_at(function, np.linspace(0.0, function.end_nm, _SLOPE_POINTS))
    if not (slope > 0).all():
        raise ValueError("the fitted torque does not rise with the indication")
    steps = _steps(loads, fit, function)
    deviations = tuple((each, found) for each, found in tried if found is not None)
    return Findings(function, fit, steps, deviations, zero_return, tuple(zip(y, fit.residuals, strict=True)))


def _try(x: Sequence[float], y: Sequence[float], degree: int) -> float | None:
    try:
        return fit_polynomial(x, y, range(1, degree + 1)).deviation
    except ValueError:
        return None


def _from_zero(points: Sequence[Point]) -> tuple[list[Point], float | None]:
    """Loaded points as magnitudes, counted from the first zero of their series, and the largest zero left at a series' end."""
    loads: list[Point] = []
    left: list[float] = []
    for series in dict.fromkeys(point.series for point in points):
        run = [point for point in points if point.series == series]
        zeros = [i for i, point in enumerate(run) if point.torque_nm == 0]
        loaded = [i for i, point in enumerate(run) if point.torque_nm != 0]
        if not loaded:
            continue
        zero = next((run[i].indication_nm for i in zeros if i < loaded[0]), 0.0)
        left += [run[i].indication_nm - zero for i in zeros[-1:] if i > loaded[-1]]
        sign = math.copysign(1.0, run[loaded[0]].torque_nm)
        if any(run[i].torque_nm * sign < 0 for i in loaded):
            raise ValueError(f"series {series} turns both ways")
        loads += [
            replace(run[i], torque_nm=abs(run[i].torque_nm), indication_nm=sign * (run[i].indication_nm - zero)) for i in loaded
        ]
    if not loads:
        raise ValueError("there is no load in it")
    return loads, max(left, key=abs) if left else None


def _steps(loads: Sequence[Point], fit: Fit, function: CalibrationFunction) -> tuple[Step, ...]:
    near = 0.001 * max(point.torque_nm for point in loads)  # the same weights hung again
    groups: list[list[int]] = []
    for i in sorted(range(len(loads)), key=lambda i: loads[i].torque_nm):
        if groups and loads[i].torque_nm - loads[groups[-1][0]].torque_nm <= near:
            groups[-1].append(i)
        else:
            groups.append([i])
    return tuple(_step([loads[i] for i in group], [fit.residuals[i] for i in group], function) for group in groups)


def _step(group: Sequence[Point], residuals: Sequence[float], function: CalibrationFunction) -> Step:
    rising = {point.series: point for point in group if point.rising}
    falling = {point.series: point for point in group if not point.rising}
    back = [abs(falling[series].indication_nm - rising[series].indication_nm) for series in rising.keys() & falling.keys()]
    by_mounting: dict[int, list[float]] = {}
    for point in rising.values():
        by_mounting.setdefault(point.mounting, []).append(point.indication_nm)
    again = [max(values) - min(values) for values in by_mounting.values() if len(values) > 1]
    every = [value for values in by_mounting.values() for value in values]
    torque_nm = float(np.mean([point.torque_nm for point in group]))
    return Step(
        torque_nm=torque_nm,
        indication_nm=float(np.mean([point.indication_nm for point in group])),
        residual_nm=float(np.mean(residuals)),
        largest_residual_nm=float(max(residuals, key=abs)),
        u_nm=calibration_u(function, torque_nm).u_nm,
        reversibility_nm=max(back) if back else None,
        repeatability_nm=max(again) if again else None,
        reproducibility_nm=max(every) - min(every) if len(by_mounting) > 1 else None,
    )


# -- class ------------------------------------------------------------------------------------------------------------------------

LEAST_LOADS = 5
"""Fewer tell neither a class nor how the curve runs between them (common practice, no source)."""
SCHEME = "workshop class of platepull, version 1"
LIMITS_PER_CLASS = {"reproducibility": 1.0, "repeatability": 0.5, "interpolation": 0.5, "zero return": 0.25, "reversibility": 1.25}
"""Largest relative figures in units of the class, in percent; the zero of the range. Our own choice, shaped like the usual schemes
from memory; a published class needs the published table, and none is claimed."""
CLASSES = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)


@dataclass(frozen=True, slots=True)
class Classed:
    """The class after the scheme, or None.

    `lacks` names what the points do not show; `figures` are the largest, relative, in percent.
    """

    best: float | None
    lacks: tuple[str, ...]
    figures: tuple[tuple[str, float], ...]

    @property
    def why(self) -> str:
        """Why there is no class; empty where there is one."""
        if self.best is not None:
            return ""
        if self.lacks:
            return "the points do not show " + ", ".join(self.lacks)
        return f"a figure exceeds the limits of class {CLASSES[-1]:g}"


def classify(findings: Findings) -> Classed:
    """The best class whose limits every figure keeps; only where the points show all that the scheme asks for.

    The scheme wants at least five loads, two series in one mounting, another mounting, unloading, and the zero after it.
    """
    found: dict[str, list[float]] = {name: [] for name in LIMITS_PER_CLASS}
    for step in findings.steps:
        percent = 100 / step.indication_nm
        found["interpolation"].append(100 * abs(step.residual_nm) / step.torque_nm)
        for name, value in (
            ("reproducibility", step.reproducibility_nm),
            ("repeatability", step.repeatability_nm),
            ("reversibility", step.reversibility_nm),
        ):
            found[name] += [] if value is None else [percent * value]
    if findings.zero_return_nm is not None:
        found["zero return"] = [100 * abs(findings.zero_return_nm) / findings.function.end_nm]
    figures = tuple((name, max(values)) for name, values in found.items() if values)
    lacks = [name for name, values in found.items() if not values]
    if len(findings.steps) < LEAST_LOADS:
        lacks.insert(0, "five loads")
    if lacks:
        return Classed(None, tuple(lacks), figures)
    for best in CLASSES:
        if all(value <= LIMITS_PER_CLASS[name] * best for name, value in figures):
            return Classed(best, (), figures)
    return Classed(None, (), figures)


# -- at the bench -----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Weighing:
    """A stretch of signal at one load: mean, standard deviation, and how far it crept from its first to its second half."""

    mean_nm: float
    deviation_nm: float
    crept_nm: float
    steady: bool


CREEP = 0.0005
"""Share of capacity that a load may creep by from the first to the second half of a stretch ..."""
CREEP_DEVIATIONS = 4
"""... or so many standard deviations of the difference of two halves' means, where noise is more than that."""
SWING = 0.005
"""Share of capacity: with a larger standard deviation the weight still swings, or a hand is on the arm."""


def weigh(trace: Trace, capacity_nm: float) -> Weighing:
    """The load that a stretch shows. Steady: no creep above 0.05 % of capacity (or four deviations of a half's mean), and no swing.

    Swing is a deviation above 0.5 % of capacity: the weight still swings, or a hand is on the arm (common practice, no source).

    Parameters
    ----------
    trace
        The stretch at one load.
    capacity_nm
        Of the sensor, N.m.

    Returns
    -------
    Weighing
        Mean with its sign, standard deviation and creep in N.m.

    Raises
    ------
    ValueError
        If the stretch has fewer than four samples.
    """
    if len(trace) < 4:
        raise ValueError("a stretch needs at least four samples")
    half = len(trace) // 2
    first, second = trace.torque_nm[:half], trace.torque_nm[half:]
    deviation = float(trace.torque_nm.std(ddof=1))
    crept = float(second.mean() - first.mean())
    steady = (
        abs(crept) <= max(CREEP * capacity_nm, CREEP_DEVIATIONS * deviation * math.sqrt(2 / half))
        and deviation <= SWING * capacity_nm
    )
    return Weighing(float(trace.torque_nm.mean()), deviation, crept, steady)
