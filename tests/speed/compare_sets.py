"""How often a comparison is right, on simulated sets of known truth.

    python tests/speed/compare_sets.py [--sets 2000] [--seed 5]      values of pulls, thousands of sets
    python tests/speed/compare_sets.py --power                       the power table of DEVELOPERS.md
    python tests/speed/compare_sets.py --traces                      a few sets through simulated traces and the whole reading
    python tests/speed/compare_sets.py --sweeps                      friction against speed from simulated sweeps

Of values, not of traces: the readings' own errors are a tenth of the scatter from pull to pull (tests/speed/readings.py).

The mix, a set at a time: scatter 2 to 8 % (both sides the same), that of breakaway over sliding a half of it; in a third of the
sets the first pull of a side after two hours of rest, 15 to 30 % hard; in a fifth one botched pull, 25 to 60 % off either way; in a
quarter run-in, 1 to 3 % lower from pull to pull at first and dying away; in a fifth unequal numbers; in a fifth both directions.
What is true is the mean of the pulls that were neither botched nor hard, before scatter.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

from support.compared import LIKE, QUIET, WITH_ADDITIVE, chattering, pull  # noqa: E402

from analysis.compare.comparison import Comparison, compare  # noqa: E402
from analysis.compare.effects import Conclusion  # noqa: E402
from analysis.compare.pulls import ComparedPull, FigureName  # noqa: E402

LONG_REST_S = 7200.0
TORQUES = (FigureName.SLIDING, FigureName.BREAKAWAY, FigureName.RATIO)


@dataclass(frozen=True)
class Mix:
    """How a set is made. Shares are those of sets; `plain` leaves everything but scatter out."""

    low: float = 0.02
    high: float = 0.08
    plain: bool = False


@dataclass(frozen=True)
class SideTruth:
    """Mean of the logarithm of each figure over the pulls that count, before scatter."""

    sliding: float
    breakaway: float
    height_share: float
    chatter_share: float


def side(
    rng: np.random.Generator,
    n: int,
    scatter: float,
    mix: Mix,
    *,
    level: float,
    ratio: float,
    share: float,
    height: float,
    after: bool,
    other_way: float | None,
) -> tuple[list[ComparedPull], SideTruth]:
    """Pulls of one side and what is true of them; `share` of the pulls chatter, by `height` of their sliding."""
    stated = WITH_ADDITIVE if after else LIKE
    hard = not mix.plain and rng.random() < 1 / 3
    botched = int(rng.integers(n)) if not mix.plain and n > 3 and rng.random() < 0.2 else None
    runs_in = rng.uniform(0.01, 0.03) if not mix.plain and rng.random() < 0.25 else 0.0
    pulls, slid, broke = [], [], []
    for k in range(n):
        way = -1 if other_way is not None and k % 2 else 1
        true = math.log(level) + runs_in * 3 * math.exp(-k / 3)
        true_broke = true + math.log(ratio)
        first = hard and k == 0
        if not first and k != botched:
            slid.append(true)
            broke.append(true_broke)
        error = rng.normal(0, scatter)
        if k == botched:
            error += rng.choice((-1, 1)) * rng.uniform(0.25, 0.6)
        if other_way is not None and way < 0:
            error += other_way  # the same on both sides: no part of what differs
        sliding = math.exp(true + error)
        breakaway = math.exp(true_broke + error + rng.normal(0, scatter / 2) + (rng.uniform(0.15, 0.3) if first else 0.0))
        mine = QUIET
        if rng.random() < share:
            heights, rate, stuck = (math.exp(rng.normal(0, 2 * scatter)) for _ in range(3))
            mine = chattering(height * heights, sliding, rate_hz=5.0 * rate, stuck_time=min(1.0, 0.7 * stuck))
        rest = LONG_REST_S if first else 30.0
        pulls.append(pull(sliding, breakaway, stated=replace(stated, rest_s=rest), direction=way, chatter=mine))
    return pulls, SideTruth(float(np.mean(slid)), float(np.mean(broke)), height, share)


@dataclass(frozen=True)
class Case:
    """One kind of set: true change of sliding and of the ratio, and the chatter of both sides (share of pulls, height)."""

    change: float = 1.0
    ratio_change: float = 1.0
    before: tuple[float, float] = (0.0, 0.2)
    after: tuple[float, float] = (0.0, 0.2)


def draw(rng: np.random.Generator, n: int, case: Case, mix: Mix) -> tuple[Comparison, dict[FigureName, float]]:
    """A set compared, and the true ratios of its figures of torque."""
    scatter = rng.uniform(mix.low, mix.high)
    n2 = n if mix.plain or rng.random() < 0.8 else max(3, n + int(rng.choice((-1, 1, 2))))
    level, ratio = rng.uniform(20, 120), rng.uniform(1.0, 1.2)
    other_way = rng.normal(0, 0.05) if not mix.plain and n >= 5 and rng.random() < 0.2 else None
    first, one = side(
        rng,
        n,
        scatter,
        mix,
        level=level,
        ratio=ratio,
        share=case.before[0],
        height=case.before[1],
        after=False,
        other_way=other_way,
    )
    second, two = side(
        rng,
        n2,
        scatter,
        mix,
        level=level * case.change,
        ratio=ratio * case.ratio_change,
        share=case.after[0],
        height=case.after[1],
        after=True,
        other_way=other_way,
    )
    truth = {
        FigureName.SLIDING: math.exp(two.sliding - one.sliding),
        FigureName.BREAKAWAY: math.exp(two.breakaway - one.breakaway),
    }
    truth[FigureName.RATIO] = truth[FigureName.BREAKAWAY] / truth[FigureName.SLIDING]
    return compare(first, second), truth


def _percent(count: float, of: float) -> str:
    return f"{100 * count / of:5.1f} %" if of else "    -"


def coverage(sets: int, seed: int) -> None:
    """Intervals, wrong words, at every n."""
    print("95 % intervals hold the truth (mixed sets: hard first pulls, botched pulls, run-in, unequal numbers, both directions)")
    print("  n    sliding  breakaway    ratio   any wrongly changed  wrong way  wrong held")
    changes = (1.0, 1.0, 1.0, 1.0, 0.92, 1.08, 0.8, 1.25)
    for n in (3, 5, 10):
        rng = np.random.default_rng((seed, n))
        inside: Counter[FigureName] = Counter()
        changed = alike = wrong_way = held_wrong = held = 0
        for k in range(sets):
            rough = (1.0, 0.25) if k % 3 else (0.0, 0.25)  # in two sets of three both sides chatter alike
            case = Case(change=changes[k % len(changes)], before=rough, after=rough)
            made, truth = draw(rng, n, case, Mix())
            for name in TORQUES:
                figure = made.figures[name]
                assert figure.ratio_low is not None
                assert figure.ratio_high is not None
                inside[name] += figure.ratio_low <= truth[name] <= figure.ratio_high
                against = Conclusion.ROSE if truth[name] < 1 else Conclusion.FELL
                wrong_way += figure.conclusion is against and abs(truth[name] - 1) > 1e-9
                if figure.conclusion is Conclusion.HELD:
                    held += 1
                    held_wrong += not 1 / 1.05 <= truth[name] <= 1.05
            if case.change == 1.0:
                alike += 1
                changed += any(not _right(truth.get(name, 1.0), figure.conclusion) for name, figure in made.figures.items())
        shares = "  ".join(_percent(inside[name], sets) for name in TORQUES)
        wrong = f"{_percent(held_wrong, held)} of {held} held, {_percent(held_wrong, 3 * sets)} of all"
        print(f"  {n:2d}   {shares}   {_percent(changed, alike)}             {_percent(wrong_way, 3 * sets)}   {wrong}")


def _right(truth: float, word: Conclusion) -> bool:
    """Whether the word is right in a set without a change; run-in may have moved its mean without a change of the pack."""
    return word in (Conclusion.HELD, Conclusion.OPEN) or (truth > 1.01 if word is Conclusion.ROSE else truth < 0.99)


KINDS: dict[str, tuple[float, Case]] = {
    "cured": (0.50, Case(before=(1.0, 0.25))),
    "less: half as high": (0.20, Case(before=(1.0, 0.25), after=(1.0, 0.12))),
    "still, in all pulls": (0.15, Case(before=(1.0, 0.25), after=(1.0, 0.25))),
    "still, in 50 % of pulls": (0.10, Case(before=(1.0, 0.25), after=(0.5, 0.25))),
    "still, in 25 % of pulls": (0.05, Case(before=(1.0, 0.25), after=(0.25, 0.25))),
    "sometimes before, cured": (0.0, Case(before=(0.6, 0.25))),
    "worse": (0.0, Case(before=(1.0, 0.15), after=(1.0, 0.3))),
    "none": (0.0, Case()),
}
"""Kinds of set and their shares in the mix over which a wrong `cured` is counted: half cured, a third still chattering."""


def chatter(sets: int, seed: int) -> None:
    """What becomes of the chatter."""
    print("chatter: outcome by kind of set (share of pulls that chatter, before to after)")
    for n in (3, 5, 10):
        rng = np.random.default_rng((seed, n, 1))
        wrong = 0.0
        for name, (share, case) in KINDS.items():
            found: Counter[str] = Counter()
            for _ in range(max(1, sets // 4)):
                made, _ = draw(rng, n, case, Mix())
                assert made.chatter is not None
                found[str(made.chatter.outcome)] += 1
            told = ", ".join(f"{key} {_percent(count, found.total()).strip()}" for key, count in found.most_common())
            print(f"  n = {n:2d}  {name:<26} {told}")
            wrong += share * found["cured"] / found.total() if case.after[0] > 0 else 0.0
        mix = ", ".join(f"{100 * share:.0f} % {name}" for name, (share, _) in KINDS.items() if share)
        print(f"  n = {n:2d}  wrongly 'cured' over the mix ({mix}): {100 * wrong:.2f} % of sets")


def power(sets: int, seed: int) -> None:
    """Share of sets in which a true change of sliding is found, after Holm's correction."""
    print("true change of sliding found (mixed scatter 2 to 8 %), and by scatter")
    print("  n    change   mixed     2 %      4 %      8 %")
    for n in (3, 5, 10):
        for change in (1.05, 1.08, 1.12, 1.2, 1.3):
            shares = []
            for low, high in ((0.02, 0.08), (0.02, 0.02), (0.04, 0.04), (0.08, 0.08)):
                rng = np.random.default_rng((seed, n, round(100 * change)))
                found = 0
                for _ in range(max(1, sets // 5)):
                    made, _ = draw(rng, n, Case(change=change), Mix(low, high, plain=True))
                    found += made.figures[FigureName.SLIDING].conclusion is Conclusion.ROSE
                shares.append(_percent(found, max(1, sets // 5)))
            print(f"  {n:2d}   {100 * (change - 1):4.0f} %  {'  '.join(shares)}")


def traces(sets: int, seed: int) -> None:
    """Sets of simulated pulls through the whole reading, against what the motion itself says of the same pulls."""
    from analysis.pull.reading import read_pull
    from analysis.trace import join
    from drivers.emulated.bench import Bench
    from drivers.emulated.scenarios import scenario
    from rig.files.compared_pull import compared_pull
    from rig.files.metadata import TraceInfo

    errors: dict[str, list[float]] = {"sliding": [], "breakaway": [], "chatter height over sliding": []}
    outcomes: Counter[str] = Counter()
    for number in range(max(1, sets // 500)):
        sides, truths = [], []
        for name, additive in (("chattering-plates", "none"), ("after-additive", "modifier")):
            bench = Bench(scenario(name).workday, scenario(name).sensor, 1000.0, np.random.default_rng((seed, number, len(sides))))
            pieces = []
            while len(bench.truths) < 3:
                pieces.append(bench.take(200))
            pieces.append(bench.take(600))
            stream = join(pieces)
            pulls = []
            for at, true in enumerate(bench.truths[:3]):
                trace = stream.between(true.from_s - 1.3, true.to_s + 0.4)
                pulls.append(compared_pull(f"{name}_{at}", trace, TraceInfo(additive=additive), read_pull(trace)))
            sides.append(pulls)
            truths.append(bench.truths[:3])
        made = compare(sides[0], sides[1])
        assert made.chatter is not None
        outcomes[str(made.chatter.outcome)] += 1
        for name, of in (("sliding", lambda true: true.sliding_nm), ("breakaway", lambda true: true.breakaway_nm)):
            true_ratio = math.exp(np.mean([math.log(of(t)) for t in truths[1]]) - np.mean([math.log(of(t)) for t in truths[0]]))
            ratio = made.figures[FigureName(name)].ratio
            assert ratio is not None
            errors[name].append(100 * (ratio / true_ratio - 1))
        for one, true in zip(sides[0], truths[0], strict=True):
            share, height, level = one.chatter.height_share, true.slip_height_nm, true.sliding_nm
            assert share is not None
            assert height is not None
            assert level is not None
            errors["chatter height over sliding"].append(100 * (share / (height / level) - 1))
    print(f"simulated traces, {sum(outcomes.values())} sets of 3 against 3: {dict(outcomes)}")
    for name, values in errors.items():
        print(f"  {name:<28} error of the reading, median {np.median(np.abs(values)):.2f} %, worst {np.max(np.abs(values)):.2f} %")


def sweeps(sets: int, seed: int) -> None:
    """Friction against speed from simulated sweeps of a known slope."""
    from support.sweeps import sweep

    from analysis.compare.speed import friction_against_speed, speed_course
    from analysis.pull.reading import read_pull

    print("slope of friction against speed, percent for a tenfold speed; the torque wanders by 1 % within a second")
    for pulls, turns in ((1, 2.0), (1, 0.5), (3, 2.0)):
        rng = np.random.default_rng((seed, pulls, int(10 * turns)))
        inside, found, widths, wrong = 0, 0, [], 0
        for _ in range(max(1, sets // (20 * pulls))):
            slope = float(rng.uniform(-0.08, 0.08))
            courses, levels = [], []
            for _ in range(pulls):
                law = {"drift": float(rng.normal(0, 0.03)), "once_a_turn": 0.01, "wander": 0.01}
                level = 50 * math.exp(rng.normal(0, 0.04))
                trace = sweep(rng, slope=slope, level_nm=level, sweeps=turns, rate_hz=250.0, **law)
                result = read_pull(trace)
                course = speed_course(trace, result)
                if course is not None and result.sliding is not None:
                    courses.append(course)
                    levels.append(result.sliding.torque_nm)
            one = friction_against_speed(courses, levels)
            if one.slope_low is None or one.slope_high is None:
                continue
            found += 1
            inside += one.slope_low <= 100 * slope <= one.slope_high
            wrong += (one.slope_low > 0 and slope < 0) or (one.slope_high < 0 and slope > 0)
            widths.append(one.slope_high - one.slope_low)
        told = f"holds the truth {_percent(inside, found)} of {found}, wrong sign {_percent(wrong, found)}"
        print(f"  {pulls} pull(s), {turns:g} sweeps: {told}, median width {np.median(widths):.1f}")


def main() -> None:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=5)
    chosen = {"power": power, "traces": traces, "sweeps": sweeps}
    for name in chosen:
        parser.add_argument(f"--{name}", action="store_true")
    args = parser.parse_args()
    parts: tuple[Callable[[int, int], None], ...] = tuple(part for name, part in chosen.items() if getattr(args, name))
    parts = parts or (coverage, chatter)
    for part in parts:
        part(args.sets, args.seed)


if __name__ == "__main__":
    main()
