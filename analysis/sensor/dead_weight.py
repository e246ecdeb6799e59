"""Reference torques: local gravity, weights on an arm."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.distributions import RECTANGULAR

STANDARD_GRAVITY = 9.80665
"""m/s², exact (CGPM 1901; NIST SP 330)."""

NORMAL_GRAVITY_U = 5e-4
"""m/s²: local gravity differs from the normal one by some 50 mGal (free-air anomalies; from memory)."""

BUOYANCY = 1.2 / 8000.0
"""The share of its weight that steel loses in air (densities of the conventional mass, OIML D 28)."""


_EQUATOR_RADIUS_M, _FLATTENING, _CENTRIFUGAL = 6378137.0, 1 / 298.257222101, 0.00344978600308
_EQUATOR_M_PER_S2, _SOMIGLIANA, _ECCENTRICITY_SQUARED = 9.7803267715, 0.001931851353, 0.00669438002290
"""Constants of the Geodetic Reference System 1980 (H. Moritz, J. Geodesy 74, 2000)."""

_POLE_DEG = 90.0


def normal_gravity(latitude_deg: float, height_m: float = 0.0) -> float:
    """Normal gravity in m/s² at a latitude and a height above sea level.

    Source: Geodetic Reference System 1980 (H. Moritz, J. Geodesy 74, 2000): Somigliana's closed formula on the ellipsoid and the
    second-order expansion in height, g (1 - 2 (1 + f + m - 2 f sin² B) h/a + 3 h²/a²).

    Parameters
    ----------
    latitude_deg
        Geodetic latitude B, -90 to 90 deg.
    height_m
        Above sea level, m.

    Returns
    -------
    float
        m/s².

    Raises
    ------
    ValueError
        If the latitude lies outside -90 to 90 deg.

    Examples
    --------
    >>> round(normal_gravity(0.0), 4), round(normal_gravity(90.0), 4)
    (9.7803, 9.8322)
    """
    if not abs(latitude_deg) <= _POLE_DEG:
        raise ValueError("a latitude lies between -90 and 90 degrees")
    sine2 = math.sin(math.radians(latitude_deg)) ** 2
    on_ellipsoid = _EQUATOR_M_PER_S2 * (1 + _SOMIGLIANA * sine2) / math.sqrt(1 - _ECCENTRICITY_SQUARED * sine2)
    share = height_m / _EQUATOR_RADIUS_M
    bent = 1 + _FLATTENING + _CENTRIFUGAL - 2 * _FLATTENING * sine2
    return on_ellipsoid * (1 - 2 * bent * share + 3 * share**2)  # formula


@dataclass(frozen=True, slots=True, kw_only=True)
class Arm:
    """The arm that weights hang from, and where it stands; u are standard uncertainties.

    `tilt_deg` is off level. The arm's own weight is balanced, or goes away with the zero that each series begins with.
    """

    length_m: float
    gravity: float
    tilt_deg: float = 0.0
    u_length_m: float = 0.0
    u_gravity: float = 0.0
    u_tilt_deg: float = 0.0

    def torque_nm(self, mass_kg: float) -> float:
        """Torque of a mass on the arm, m g L cos(tilt)."""
        return mass_kg * self.gravity * self.length_m * math.cos(math.radians(self.tilt_deg))

    def u_relative(self, u_mass_relative: float) -> float:
        """Relative standard uncertainty of that torque (JCGM 100, 5.1.6), the cosine to second order (5.1.2, note).

        The air's buoyancy is not corrected; it enters as one limit of a rectangular distribution.
        """
        u_tilt = math.radians(self.u_tilt_deg)
        tilt = math.hypot(math.tan(math.radians(self.tilt_deg)) * u_tilt, u_tilt**2 / math.sqrt(2))
        return math.hypot(
            u_mass_relative, self.u_length_m / self.length_m, self.u_gravity / self.gravity, tilt, BUOYANCY / RECTANGULAR
        )
