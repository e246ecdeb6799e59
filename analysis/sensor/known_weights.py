"""A sensor checked by two known weights: how far its indications are off, and what may be stated of it until it is calibrated."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.distributions import RECTANGULAR

FAR_OFF = 0.05
"""Share of the load: a sensor further off has no uncertainty but a fault, or a wrong unit (common practice, no source)."""

UNITS = {
    "lbf.ft": 1.3558179483314004,
    "lbf.in": 0.1129848290276167,
    "kgf.m": 9.80665,
    "kgf.cm": 0.0980665,
    "N.cm": 0.01,
}
"""N.m in one of the units that a sensor may send instead (NIST SP 811, App. B.8)."""

UNIT_MATCH = 0.04
"""An indication is taken for one in another unit where it agrees with the load to this share."""


@dataclass(frozen=True, slots=True)
class WeightCheck:
    """What two weights show.

    errors        indication over load, less one, for each weight
    u_relative    standard uncertainty of a reading, as a share of it: the errors are not corrected, so the largest is a limit
                  either way (rectangular; JCGM 100, 4.3.7), with that of the loads themselves
    sends         the unit that the sensor seems to send instead of N.m; None: N.m
    believed      False: too far off to state an uncertainty by
    """

    errors: tuple[float, ...]
    u_relative: float
    sends: str | None
    believed: bool


def check_by_weights(loads_nm: Sequence[float], indications_nm: Sequence[float], u_loads_relative: float) -> WeightCheck:
    """Hold indications, counted from the zero before, against the torques of known weights (magnitudes).

    Parameters
    ----------
    loads_nm
        Torques of the weights on the arm, N.m, above zero.
    indications_nm
        What the sensor sent under each, N.m as it says; the sign does not matter.
    u_loads_relative
        Relative standard uncertainty of the loads, as a share.

    Returns
    -------
    WeightCheck
        What may be stated of the sensor until it is calibrated.

    Raises
    ------
    ValueError
        If there are not as many indications as loads, or none.

    Examples
    --------
    >>> check_by_weights([29.4, 58.8], [29.5, 58.9], 0.003).believed
    True
    >>> check_by_weights([29.4, 58.8], [21.7, 43.4], 0.003).sends
    'lbf.ft'
    """
    errors = tuple(abs(shown) / load - 1 for shown, load in zip(indications_nm, loads_nm, strict=True))
    worst = max(abs(error) for error in errors)
    sends = next(
        (
            unit
            for unit, nm in UNITS.items()
            if all(abs(abs(shown) * nm / load - 1) < UNIT_MATCH for shown, load in zip(indications_nm, loads_nm, strict=True))
        ),
        None,
    )
    return WeightCheck(errors, math.hypot(worst / RECTANGULAR, u_loads_relative), sends, worst <= FAR_OFF)
