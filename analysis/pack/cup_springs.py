"""Cup springs: the load of one, after EN 16984 (Almen and Laszlo, Trans. ASME 58, 1936)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

YOUNG_N_PER_MM2 = 206_000.0
"""Spring steel, EN 16984."""
POISSON = 0.3
"""Spring steel, EN 16984."""
FORMULA_ENDS_AT_SHARE = 0.75
"""Share of the cone height beyond which the contact moves inwards and the real load exceeds the formula (EN 16984)."""
SOLID_SHARE = 0.98
"""Share of the cone height from which a spring counts as solid (PACK.md 4)."""
FLAT_STIFFNESS_N_PER_MM = 150_000.0
"""Beyond flat only the steel gives: of the order of a pressed plate stack. No choice that gets there is ever taken."""


def diameter_factor(ratio: float) -> float:
    """Factor K1 of EN 16984 for a ratio of outer to inner diameter.

    Examples
    --------
    >>> round(diameter_factor(2.0), 3)
    0.694
    """
    return ((ratio - 1.0) / ratio) ** 2 / ((ratio + 1.0) / (ratio - 1.0) - 2.0 / math.log(ratio)) / math.pi


def flats_factor(thickness_mm: float, reduced_mm: float, free_height_mm: float) -> float:
    """Factor K4 of EN 16984 for a spring with contact flats ground on.

    Parameters
    ----------
    thickness_mm, reduced_mm, free_height_mm
        Thickness before the flats were ground, the reduced thickness, and the overall free height.

    Returns
    -------
    float
        1 where nothing was ground off.
    """
    reduction = reduced_mm / thickness_mm
    height = free_height_mm / thickness_mm
    c1 = reduction**2 / ((0.25 * height - reduction + 0.75) * (0.625 * height - reduction + 0.375))  # formula
    c2 = c1 / reduction**3 * (5.0 / 32.0 * (height - 1.0) ** 2 + 1.0)  # formula
    return math.sqrt(-0.5 * c1 + math.sqrt(0.25 * c1**2 + c2))  # formula


@dataclass(frozen=True, slots=True, eq=False)
class SpringShape:
    """Dimensions that set a spring's load; each may be an array of draws.

    Parameters
    ----------
    outer_diameter_mm, inner_diameter_mm
        Diameters.
    thickness_mm
        Thickness (the reduced one where flats are ground on).
    cone_height_mm
        Free height less thickness.
    flats
        Factor K4, 1 without contact flats.
    late_rise
        Share by which the load at flat exceeds the formula; it sets in at 75 % of the cone height and grows with the square.
    """

    outer_diameter_mm: float
    inner_diameter_mm: float
    thickness_mm: Floats | float
    cone_height_mm: Floats | float
    flats: float = 1.0
    late_rise: Floats | float = 0.0


def formula_load_n(shape: SpringShape, deflection_mm: Floats | float) -> Floats:
    """Load of one spring by the formula alone, wherever it is asked for (point-symmetric about flat).

    Parameters
    ----------
    shape
        Dimensions in mm.
    deflection_mm
        Deflection from free; broadcasts with the dimensions.

    Returns
    -------
    ndarray
        Load in N, of the broadcast shape.

    Notes
    -----
    F = 4E/(1-nu^2) t^4/(K1 De^2) K4^2 s/t [K4^2 (h0/t - s/t)(h0/t - s/2t) + 1], EN 16984.
    """
    t = np.asarray(shape.thickness_mm, dtype=np.float64)
    s = np.asarray(deflection_mm, dtype=np.float64)
    k4 = shape.flats**2
    return _plate_factor(shape, t) * s * (k4 * (shape.cone_height_mm - s) * (shape.cone_height_mm - 0.5 * s) + t * t)


def formula_rate_n_per_mm(shape: SpringShape, deflection_mm: Floats | float) -> Floats:
    """Derivative of `formula_load_n` with respect to the deflection.

    Parameters
    ----------
    shape
        Dimensions in mm.
    deflection_mm
        Deflection from free; broadcasts with the dimensions.

    Returns
    -------
    ndarray
        Rate in N/mm, of the broadcast shape; negative where the load falls.
    """
    t = np.asarray(shape.thickness_mm, dtype=np.float64)
    s = np.asarray(deflection_mm, dtype=np.float64)
    h0 = shape.cone_height_mm
    return _plate_factor(shape, t) * (shape.flats**2 * (h0 * h0 - 3.0 * h0 * s + 1.5 * s * s) + t * t)  # formula


def _plate_factor(shape: SpringShape, thickness_mm: Floats) -> Floats:
    k1 = diameter_factor(shape.outer_diameter_mm / shape.inner_diameter_mm)
    elastic = 4.0 * YOUNG_N_PER_MM2 / (1.0 - POISSON**2)  # formula
    factor: Floats = elastic * shape.flats**2 * thickness_mm / (k1 * shape.outer_diameter_mm**2)
    return factor


def load_and_rate(shape: SpringShape, deflection_mm: Floats) -> tuple[Floats, Floats]:
    """Load and rate of one spring that is pressed: nothing before it touches, more than the formula near flat, steel beyond.

    Parameters
    ----------
    shape
        Dimensions, scalars or arrays that broadcast with the deflection.
    deflection_mm
        Deflection from free; negative where the spring has play.

    Returns
    -------
    load_n, rate_n_per_mm
        Arrays of the deflection's shape.
    """
    h0 = np.asarray(shape.cone_height_mm, dtype=np.float64)
    t = np.asarray(shape.thickness_mm, dtype=np.float64)
    s = np.clip(deflection_mm, 0.0, h0)
    # Both formulas above in one go, for this is where most of an answer's time goes.
    k4, factor, square = shape.flats**2, _plate_factor(shape, t), t * t
    load = factor * s * (k4 * (h0 - s) * (h0 - 0.5 * s) + square)
    rate = factor * (k4 * (h0 * h0 - 3.0 * s * (h0 - 0.5 * s)) + square)  # formula
    late = (s / np.maximum(h0, 1e-9) - FORMULA_ENDS_AT_SHARE) / (1.0 - FORMULA_ENDS_AT_SHARE)
    if np.any(late > 0.0):
        late = np.maximum(late, 0.0)
        risen = shape.late_rise * late
        rise = 1.0 + risen * late
        late_slope = risen * (2.0 / (1.0 - FORMULA_ENDS_AT_SHARE) / np.maximum(h0, 1e-9))
        rate = rate * rise + load * late_slope
        load = load * rise
    beyond = deflection_mm - h0
    if np.any(beyond > 0.0):
        load = load + FLAT_STIFFNESS_N_PER_MM * np.maximum(beyond, 0.0)
        rate = np.where(beyond > 0.0, FLAT_STIFFNESS_N_PER_MM, rate)
    return load, np.where(deflection_mm < 0.0, 0.0, rate)
