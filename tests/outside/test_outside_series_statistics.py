"""A series of pulls taken together: certified means and deviations of NIST StRD, worked examples of JCGM 100:2008 (GUM)."""

import pytest
from support.nist import SERIES

from analysis.results import Breakaway, BudgetLine, Chatter, PullResult
from analysis.verdict.series import read_series
from analysis.verdict.uncertainty import combine


def pull(torque_nm: float, direction: int = 1, shared_u_nm: float = 0.0) -> PullResult:
    """A pull that reads this torque; what its sensor is known to, if anything."""
    budget = combine([BudgetLine("calibration", shared_u_nm)])
    breakaway = Breakaway(torque_nm, 1.0, None, budget)
    return PullResult(1000, 1.0, 1000.0, direction, (), breakaway, None, Chatter(assessable=False, score=0.0), ())


@pytest.mark.parametrize("name", SERIES)
def test_mean_and_deviation_are_the_certified_ones(name: str) -> None:
    """NIST Statistical Reference Datasets, univariate."""
    series = SERIES[name]
    found = read_series([pull(value) for value in series.data], first_apart=False)
    assert found.mean_nm == pytest.approx(series.mean, rel=1e-13)
    assert found.deviation_nm == pytest.approx(series.sd, rel=series.sd_rel)


def test_twenty_temperatures() -> None:
    """GUM 4.4.3, Table 1 (from memory, recomputed): mean 100.14, s = 1.49, s of the mean 0.33, 19 degrees of freedom."""
    readings = [
        96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95, 101.11, 101.20,
        101.57, 101.84, 102.36, 102.72,
    ]  # fmt: skip
    found = read_series([pull(value) for value in readings], first_apart=False)
    assert found.budget is not None
    repeatability = next(line for line in found.budget.lines if line.source == "repeatability")
    assert found.mean_nm == pytest.approx(100.14, abs=0.0051)
    assert found.deviation_nm == pytest.approx(1.49, abs=0.0051)
    assert repeatability.u_nm == pytest.approx(0.33, abs=0.0051)
    assert repeatability.degrees_of_freedom == 19


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
    found = read_series([pull(value) for value in readings], first_apart=False)
    assert found.budget is not None
    assert found.mean_nm == pytest.approx(mean, rel=1e-5)
    assert found.budget.u_nm == pytest.approx(u_mean, rel=0.02)
    assert found.budget.degrees_of_freedom == pytest.approx(4)


def test_what_all_pulls_share_is_not_averaged_away() -> None:
    """GUM 5.2.4 and F.1.1 (from memory): a calibration common to all readings does not shrink with their number."""
    found = read_series([pull(60.0, shared_u_nm=0.5) for _ in range(25)], first_apart=False)
    assert found.budget is not None
    assert found.budget.u_nm == pytest.approx(0.5, rel=1e-12)


def test_budget_example_of_the_trade() -> None:
    """Trade notes 6 (common practice, no source), 60 N.m: sensor 0.58, zero 0.3, rounding 0.1, scatter of five 1.07: u = 1.26."""
    found = combine(BudgetLine(str(u), u) for u in (0.58, 0.3, 0.1, 1.07))
    assert found.u_nm == pytest.approx(1.26, abs=0.005)
    assert 2 * found.u_nm == pytest.approx(2.5, abs=0.03)
