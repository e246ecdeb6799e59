"""How far a verdict can be trusted: series of known units, judged as `analyse --series` judges them.

    python tests/speed/verdicts.py [--series N] [--seed S] [--traces N]

Truth is the mean of many pulls of the unit (JCGM 106: the measurand is the unit's, not one pull's). Each series has a true scatter
from pull to pull, and a sensor whose gain is drawn from its standard uncertainty of 0.5 % once for all its pulls. Values are judged
directly; with --traces N so many series are also made as traces and read by `read_pull`, to show that reading adds nothing.

Columns: `holds` U holds the unit's mean; `U` median expanded uncertainty; `on limit` units whose mean is a limit and that are
called in the window; `beyond` the same 3 % outside; `middle` units in the middle of a window of +/-25 % that are decided;
`kept` of the series that were told 'about N more' those that are decided after N more, and how many were told so.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.stats import chi2, norm

from analysis.judgement import SeriesResult, SettlingCode, VerdictState
from analysis.results import BudgetLine
from analysis.verdict.apart import Scatter
from analysis.verdict.scatter import USUAL_SCATTER, OwnScatter, pool
from analysis.verdict.series import read_series
from analysis.verdict.uncertainty import combine
from analysis.verdict.votes import Pull
from analysis.window import Window

UNIT_NM = 48.0
SENSOR_U = 0.005
HALF_WIDTH = 0.25
BEYOND = 0.03
HARD_FIRST = 1.12  # plates that stood overnight grip harder (trade notes 2.4)
UNEQUAL = 0.05  # of the mean, each way
LONG_REST_S, REST_S = 36_000.0, 45.0

Draw = Callable[[np.random.Generator], float]


@dataclass(frozen=True)
class Unit:
    """A unit of a mean of 1: its scatter, and how its directions and its first pull differ."""

    scatter: float
    ways: tuple[int, ...] = (1,)
    unequal: float = 0.0
    hard_first: bool = False

    def pulls(self, rng: np.random.Generator, n: int, gain: float, *, first: int = 0) -> list[Pull]:
        """n pulls after `first` others."""
        made = []
        for number in range(first, first + n):
            way = self.ways[number % len(self.ways)]
            value = 1 + way * self.unequal + self.scatter * rng.standard_normal()
            hard = self.hard_first and number == 0
            value *= HARD_FIRST if hard else 1.0
            rest_s = LONG_REST_S if hard else REST_S
            made.append(Pull.of(UNIT_NM * gain * value, direction=way, u_relative=SENSOR_U, rest_s=rest_s))
        return made

    @property
    def worse(self) -> float:
        """Mean of the direction that is higher."""
        return 1 + (self.unequal if len(self.ways) == 2 else 0.0)


@dataclass
class Tally:
    """What came of the series of a cell."""

    holds: list[bool]
    relative_u: list[float]
    on_limit: list[bool]
    beyond: list[bool]
    middle: list[bool]
    told: list[int]
    kept: list[bool]

    def row(self) -> str:
        """As a row of the table."""
        kept = f"{100 * np.mean(self.kept):5.1f} of {len(self.kept):5d}" if self.kept else "    -        "
        shares = (self.holds, self.on_limit, self.beyond, self.middle)
        held, limit, beyond, middle = (100 * float(np.mean(each)) for each in shares)
        return f"{held:6.1f} {100 * np.median(self.relative_u):6.1f} {limit:9.2f} {beyond:7.2f} {middle:7.1f}   {kept}"


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--series", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--traces", type=int, default=0)
    args = parser.parse_args()
    began = time.perf_counter()
    print(f"{args.series} series a cell, seed {args.seed}; per cent")
    print(f"{'':38s}  n  holds      U  on limit  beyond  middle   kept")
    for name, draw, known, change in cells():
        for n in (1, 2, 3, 5):
            rng = np.random.default_rng([args.seed, n, zlib.crc32(name.encode())])
            print(f"{name:38s} {n:2d} {tally(rng, draw, known, change, n, args.series).row()}", flush=True)
    print_jumps()
    print_predictions()
    if args.traces:
        print_traces(args.traces, args.seed)
    print(f"{time.perf_counter() - began:.0f} s")


def cells() -> Iterator[tuple[str, Draw, Scatter, Callable[[Unit], Unit]]]:
    """Name, true scatter, scatter known of the bench, and what else is so of the units."""
    for percent in (2, 3, 5, 8):
        yield f"scatter {percent} %", fixed(percent / 100), USUAL_SCATTER, same
    yield "drawn from the default", drawn(USUAL_SCATTER), USUAL_SCATTER, same
    yield "scatter 8 %, the bench's own (12)", fixed(0.08), Scatter(0.08, 12.0), same
    yield "drawn, both ways", drawn(USUAL_SCATTER), USUAL_SCATTER, lambda unit: replace(unit, ways=(1, -1))
    yield (
        "drawn, both ways, 10 % apart",
        drawn(USUAL_SCATTER),
        USUAL_SCATTER,
        lambda unit: replace(unit, ways=(1, -1), unequal=UNEQUAL),
    )
    yield "drawn, hard first pull", drawn(USUAL_SCATTER), USUAL_SCATTER, lambda unit: replace(unit, hard_first=True)


def same(unit: Unit) -> Unit:
    """Nothing else."""
    return unit


def fixed(scatter: float) -> Draw:
    """The same scatter for every unit."""
    return lambda rng: scatter


def drawn(known: Scatter) -> Draw:
    """Scatters as the known one leaves them possible: sigma^2 = nu s^2 / chi^2 (JCGM 101, 6.4.9)."""
    degrees = known.degrees_of_freedom
    return lambda rng: known.relative * math.sqrt(degrees / rng.chisquare(degrees))


def tally(rng: np.random.Generator, draw: Draw, known: Scatter, change: Callable[[Unit], Unit], n: int, count: int) -> Tally:
    """Judge `count` series of n pulls."""
    found = Tally([], [], [], [], [], [], [])
    for _ in range(count):
        unit = change(Unit(draw(rng)))
        gain = 1 + SENSOR_U * rng.standard_normal()
        pulls = unit.pulls(rng, n, gain)
        high = UNIT_NM * unit.worse  # the higher direction's mean stands on it
        on_limit = Window(0.4 * UNIT_NM, high)
        series = read_series(pulls, on_limit, known=known)
        verdict = series.verdict
        assert verdict is not None
        assert verdict.value_nm is not None
        assert verdict.expanded_u_nm is not None
        seen = {pull.direction for pull in pulls}
        truth = UNIT_NM * (1 + (unit.unequal if seen == {1} else 0.0))
        found.holds.append(abs(verdict.value_nm - truth) <= verdict.expanded_u_nm)
        found.relative_u.append(verdict.expanded_u_nm / verdict.value_nm)
        found.on_limit.append(verdict.state is VerdictState.IN_WINDOW)
        beyond = read_series(pulls, Window(0.4 * UNIT_NM, high / (1 + BEYOND)), known=known).verdict
        found.beyond.append(beyond is not None and beyond.state is VerdictState.IN_WINDOW)
        middle = Window(UNIT_NM * (1 - HALF_WIDTH), UNIT_NM * (1 + HALF_WIDTH))
        found.middle.append(decided(read_series(pulls, middle, known=known)))
        # Advice: a unit anywhere in a window or somewhat beyond it.
        at = rng.uniform(0.7, 1.3)
        window = Window(UNIT_NM * at * (1 - HALF_WIDTH), UNIT_NM * at * (1 + HALF_WIDTH))
        follow_advice(rng, unit, gain, pulls, window, known, found)
    return found


def follow_advice(
    rng: np.random.Generator, unit: Unit, gain: float, pulls: list[Pull], window: Window, known: Scatter, found: Tally
) -> None:
    """Pull as often as was told, and see whether that decided it."""
    verdict = read_series(pulls, window, known=known).verdict
    settling = None if verdict is None else verdict.settling
    if settling is None or settling.code is not SettlingCode.MORE_PULLS or settling.pulls is None:
        return
    found.told.append(settling.pulls)
    more = unit.pulls(rng, settling.pulls, gain, first=len(pulls))
    if settling.ways == 1:  # 'more' of the way that was pulled
        more = [replace(pull, direction=pulls[0].direction) for pull in more]
    found.kept.append(decided(read_series([*pulls, *more], window, known=known)))


def decided(series: SeriesResult) -> bool:
    """Whether the verdict is one."""
    return series.verdict is not None and series.verdict.state is not VerdictState.UNDECIDED


def print_jumps() -> None:
    """U of two pulls that lie farther and farther apart: it must not jump."""
    print("\ntwo pulls so far apart, and U in per cent of their mean")
    for apart in (0.05, 0.10, 0.14, 0.15, 0.16, 0.17, 0.20, 0.30):
        series = read_series([Pull.of(UNIT_NM * (1 + apart / 2)), Pull.of(UNIT_NM * (1 - apart / 2))], Window(1.0, None))
        assert series.breakaway is not None
        print(f"  {100 * apart:3.0f} %  {100 * series.breakaway.budget.expanded_u_nm / series.breakaway.mean_nm:5.1f}")


def print_predictions() -> None:
    """What JCGM 106:2012, 8.3, foretells of a unit on the limit: the chance of a mean below it by the guard band w = U.

    Mean and scatter of normal pulls are independent, so the chance is that of a normal mean, averaged over the scatters that n
    pulls may show (chi-squared of n - 1 degrees of freedom).
    """
    print("\nJCGM 106, 8.3: accepted on the limit, per cent, by true scatter 2, 3, 5, 8 %")
    quantiles = (np.arange(400) + 0.5) / 400
    for n in (1, 2, 3, 5):
        risks = []
        for true in (0.02, 0.03, 0.05, 0.08):
            owns = [OwnScatter()] if n == 1 else [OwnScatter(true**2 * float(q), n - 1) for q in chi2.ppf(quantiles, n - 1)]
            chances = []
            for own in owns:
                used = pool(own)
                shrunk = BudgetLine("repeatability", used.relative / math.sqrt(n), used.degrees_of_freedom)
                u = combine([shrunk, BudgetLine("calibration", SENSOR_U)], each_by_its_own_t=True).expanded_u_nm
                # U is a share of the reading: y (1 + u) stays below the limit of 1 where y is below 1 / (1 + u).
                chances.append(norm.sf(u / (1 + u) / math.hypot(true / math.sqrt(n), SENSOR_U)))
            risks.append(float(np.mean(chances)))
        print(f"  n = {n}: " + "  ".join(f"{100 * risk:5.2f}" for risk in risks))


def print_traces(count: int, seed: int) -> None:
    """The same through traces: the simulated hand pulls, `read_pull` reads."""
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    from support.made import made_stream

    from analysis.pull.reading import read_pull
    from analysis.results import Sensor
    from analysis.verdict.votes import pull_of

    rng = np.random.default_rng(seed)
    holds, spread = [], []
    for number in range(count):
        unit = Unit(drawn(USUAL_SCATTER)(rng))
        gain = 1 + SENSOR_U * rng.standard_normal()
        values = [1 + unit.scatter * rng.standard_normal() for _ in range(3)]
        traces = [made_stream(1, peak_nm=UNIT_NM * gain * value, seed=3 * number + at) for at, value in enumerate(values)]
        pulls = [pull_of(read_pull(trace, Sensor(u_relative=SENSOR_U, capacity_nm=200.0))) for trace in traces]
        figure = read_series(pulls).breakaway
        assert figure is not None
        holds.append(abs(figure.mean_nm - UNIT_NM) <= figure.budget.expanded_u_nm)
        spread.append(figure.budget.expanded_u_nm / figure.mean_nm)
    print(
        f"\nthrough traces, three pulls, {count} series: holds {100 * np.mean(holds):.1f}, median U {100 * np.median(spread):.1f}"
    )


if __name__ == "__main__":
    main()
