"""A series of pulls taken together: certified means and deviations of NIST StRD, worked examples of JCGM 100:2008 (GUM)."""

import math

import pytest
from support.nist import SERIES

from analysis.judgement import SeriesFigure
from analysis.results import BudgetLine
from analysis.verdict.apart import Scatter
from analysis.verdict.scatter import NO_SCATTER, OwnScatter
from analysis.verdict.series import read_series
from analysis.verdict.uncertainty import combine
from analysis.verdict.votes import Pull, Reading

KNOWN_OF_NOTHING = Scatter(1e-9, 1e-9)
"""A scatter with no degrees of freedom to speak of: pooled with it, a series stands on its own deviations."""


def pull(torque_nm: float, shared_u_nm: float = 0.0) -> Pull:
    """A pull that reads this torque; what its sensor is known to, if anything."""
    return Pull(breakaway=Reading(torque_nm, (BudgetLine("calibration", shared_u_nm),)))


def breakaway(pulls, known=KNOWN_OF_NOTHING) -> SeriesFigure:
    """The breakaway of a series, none of whose pulls is looked at as a stray."""
    found = read_series(pulls, known=known).breakaway
    assert found is not None
    return found


@pytest.mark.parametrize("name", SERIES)
def test_mean_and_deviation_are_the_certified_ones(name: str) -> None:
    """NIST Statistical Reference Datasets, univariate."""
    series = SERIES[name]
    own = OwnScatter.of([series.data])
    relative = math.sqrt(own.squares / own.degrees_of_freedom)
    assert relative * abs(series.mean) == pytest.approx(series.sd, rel=series.sd_rel)
    found = read_series([pull(value) for value in series.data], known=KNOWN_OF_NOTHING)
    if len(found.counted) == len(series.data):  # uniform draws down to 0 have what would be strays among pulls
        assert found.breakaway.mean_nm == pytest.approx(series.mean, rel=1e-13)


def test_twenty_temperatures() -> None:
    """GUM 4.4.3, Table 1 (from memory, recomputed): mean 100.14, s = 1.49, s of the mean 0.33, 19 degrees of freedom."""
    readings = [
        96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95, 101.11, 101.20,
        101.57, 101.84, 102.36, 102.72,
    ]  # fmt: skip
    found = breakaway([pull(value) for value in readings])
    repeatability = next(line for line in found.budget.lines if line.source == "repeatability")
    assert found.mean_nm == pytest.approx(100.14, abs=0.0051)
    assert found.scatter.own_relative * found.mean_nm == pytest.approx(1.49, abs=0.0051)
    assert repeatability.u_nm == pytest.approx(0.33, abs=0.0051)
    assert repeatability.degrees_of_freedom == pytest.approx(19)


@pytest.mark.parametrize(
    ("readings", "mean", "u_mean"),
    [
        ([5.007, 4.994, 5.005, 4.990, 4.999], 4.999, 0.0032),
        ([0.019663, 0.019639, 0.019640, 0.019685, 0.019678], 0.019661, 9.5e-6),
        ([1.0456, 1.0438, 1.0468, 1.0428, 1.0433], 1.04446, 0.00075),
    ],
)
def test_five_simultaneous_readings(readings: list[float], mean: float, u_mean: float) -> None:
    """GUM H.2, Table H.2 (read in GTC's tests): means and standard uncertainties of the means."""
    found = breakaway([pull(value) for value in readings])
    assert found.mean_nm == pytest.approx(mean, rel=1e-5)
    assert found.budget.u_nm == pytest.approx(u_mean, rel=0.02)
    assert found.budget.degrees_of_freedom == pytest.approx(4)


def test_what_all_pulls_share_is_not_averaged_away() -> None:
    """GUM 5.2.4 and F.1.1 (from memory): a calibration common to all readings does not shrink with their number."""
    found = breakaway([pull(60.0, shared_u_nm=0.5) for _ in range(25)], NO_SCATTER)
    assert found.budget.u_nm == pytest.approx(0.5, rel=1e-12)


def test_budget_example_of_the_trade() -> None:
    """Trade notes 6 (common practice, no source), 60 N.m: sensor 0.58, zero 0.3, rounding 0.1, scatter of five 1.07: u = 1.26."""
    found = combine(BudgetLine(str(u), u) for u in (0.58, 0.3, 0.1, 1.07))
    assert found.u_nm == pytest.approx(1.26, abs=0.005)
    assert 2 * found.u_nm == pytest.approx(2.5, abs=0.03)
