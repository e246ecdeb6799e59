"""Distributions of probability by plain names: normal, Student's t, chi-square, F, beta. Values are those of `scipy.special`.

The library is loaded when the first of them is asked for, so that a window stands before it. Arguments may be numbers or arrays,
which are broadcast; the answer of numbers is a number.
"""

from __future__ import annotations

import math
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
RECTANGULAR: Final = math.sqrt(3.0)
"""Limits either side over the standard deviation, where every value between them is as likely (JCGM 100, 4.3.7)."""

RECTANGULAR_WIDTH: Final = 2.0 * RECTANGULAR
"""The whole width over the standard deviation."""

INTERVAL: Final = (0.025, 0.5, 0.975)
"""Shares of a distribution below the ends and the middle of its 95 % interval."""

Value = TypeVar("Value", float, Floats)


def _special() -> Any:
    import scipy.special

    return scipy.special


def normal_probability(z: Value) -> Value:
    """Share of a standard normal below `z`.

    >>> round(float(normal_probability(1.959964)), 4)
    0.975
    """
    found: Value = _special().ndtr(z)
    return found


def t_probability(t: Value, degrees: Value) -> Value:
    """Share of Student's t with `degrees` of freedom below `t`.

    Parameters
    ----------
    t
        The standardised deviation, without unit; a number or an array.
    degrees
        Degrees of freedom, above zero; a number or an array that broadcasts with `t`.

    Returns
    -------
    float or array
        Between 0 and 1, in the shape that the two broadcast to.

    Examples
    --------
    >>> round(float(t_probability(2.776, 4.0)), 3)
    0.975
    """
    found: Value = _special().stdtr(degrees, t)
    return found


def t_quantile(share: float, degrees: Value) -> Value:
    """What the share `share` of Student's t with `degrees` of freedom lies below.

    Parameters
    ----------
    share
        Between 0 and 1, of one tail: 0.975 for a two-sided interval of 95 %.
    degrees
        Degrees of freedom, above zero; a number or an array.

    Returns
    -------
    float or array
        Student's t, without unit, in the shape of `degrees`.

    Examples
    --------
    >>> round(float(t_quantile(0.975, 4.0)), 3)  # JCGM 100, table G.2
    2.776
    """
    found: Value = _special().stdtrit(degrees, share)
    return found


def t_degrees(share: float, t: float) -> float:
    """Degrees of freedom of the Student's t of which the share `share` lies below `t`.

    Parameters
    ----------
    share
        Between 0 and 1, of one tail.
    t
        Student's t, without unit.

    Returns
    -------
    float
        Degrees of freedom, not a whole number as a rule.

    Examples
    --------
    >>> round(t_degrees(0.975, 2.776), 1)
    4.0
    """
    return float(_special().stdtridf(share, t))


def chi_square_quantile(share: Value, degrees: float) -> Value:
    """What the share `share` of chi-square with `degrees` of freedom lies below.

    Parameters
    ----------
    share
        Between 0 and 1; a number or an array.
    degrees
        Degrees of freedom, above zero.

    Returns
    -------
    float or array
        Sum of squares of standard normals, without unit, in the shape of `share`.

    Examples
    --------
    >>> round(float(chi_square_quantile(0.95, 3.0)), 3)
    7.815
    """
    found: Value = _special().chdtri(degrees, 1.0 - share)
    return found


def f_quantile(share: float, degrees_above: Value, degrees_below: float) -> Value:
    """What the share `share` of F lies below; the degrees of freedom are of the variance above and below the line.

    Parameters
    ----------
    share
        Between 0 and 1.
    degrees_above
        Degrees of freedom of the variance above the line; a number or an array.
    degrees_below
        Degrees of freedom of the variance below the line.

    Returns
    -------
    float or array
        Ratio of the two variances, in the shape of `degrees_above`.

    Examples
    --------
    >>> round(float(f_quantile(0.95, 3.0, 10.0)), 3)
    3.708
    """
    found: Value = _special().fdtri(degrees_above, degrees_below, share)
    return found


def beta_probability(x: float, a: float, b: float) -> float:
    """Share of a beta distribution with the parameters `a` and `b` below `x`.

    Parameters
    ----------
    x
        A share, between 0 and 1.
    a, b
        The distribution's parameters, above zero; its mean is a / (a + b).

    Returns
    -------
    float
        Between 0 and 1.

    Examples
    --------
    >>> round(beta_probability(0.5, 2.0, 2.0), 3)
    0.5
    """
    return float(_special().betainc(a, b, x))


def beta_quantile(share: float, a: float, b: float) -> float:
    """What the share `share` of a beta distribution with the parameters `a` and `b` lies below.

    Parameters
    ----------
    share
        Between 0 and 1.
    a, b
        The distribution's parameters, above zero; its mean is a / (a + b).

    Returns
    -------
    float
        Between 0 and 1.

    Examples
    --------
    >>> round(beta_quantile(0.5, 2.0, 2.0), 3)
    0.5
    """
    return float(_special().betaincinv(a, b, share))
