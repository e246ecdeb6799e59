"""What each rule of reading and judging moves: every named number is varied by a fifth, and the same pulls are read again.

    nice python tests/speed/rules.py [--makes 118] [--wide 42] [--only REGEX] [--all] [--guards]

Finds the named numbers by itself: constants of the modules of `analysis.pull` and `analysis.verdict`, fields of their rule classes,
defaults of their functions. Those of pull, but for the finder's, are tried on pulls of known truth (a few of each make, and of each
wide kind), those of verdict on series of plain values. A share near one is varied in what it lacks to one, a whole number by at
least one.

Columns: how many pulls (or series) changed at all, by 0.02 % of a reading, 2 % of a U, a code or a decision; the change of the 95th
percentile and of the worst of the errors of breakaway and sliding, in percentage points; of the shares that the 95 % intervals
hold; how many decisions on chatter turned. For each the larger of both ways. `--all` prints the rows of what moves nothing too.
`--guards` takes those that move nothing far off, to nothing, a fifth, five times and a thousand times, and names the kind of the
first pull that is read otherwise.
"""

from __future__ import annotations

import argparse
import ast
import dataclasses
import importlib
import inspect
import os
import pkgutil
import re
import sys
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402
from readings import FIRST_SEED, ours  # noqa: E402
from support.pull_makes import makes  # noqa: E402
from support.pullset import simulate_cached  # noqa: E402
from support.scoring import Line, score  # noqa: E402

import analysis.pull  # noqa: E402
import analysis.verdict  # noqa: E402
from analysis.verdict.series import read_series  # noqa: E402
from analysis.verdict.votes import Pull  # noqa: E402
from analysis.window import Window  # noqa: E402

STEP = 0.2
ROUGHLY = re.compile(r"(\d\.\d{3})\d*(?:e-?\d+)?")
SAME_NM, SAME_U = 2e-4, 0.02
FAR_OFF = (0.0, 0.2, 5.0, 1000.0)
OF_THE_FINDER = re.compile(r"^pull\.(events|finder|happening)\.")
"""Reading a pull that was found does not ask these: `readings.py --sets bench` does."""
NO_RULE = re.compile(r"^__|SEED|^_?(EMPTY|NO_|NOTHING)|TINY|GUARD")

Number = int | float
Value = Number | tuple[Number, ...]
Setting = Callable[[Value], None]


@dataclass(frozen=True)
class Rule:
    """A named number: where it stands, what it is, and how it is set."""

    name: str
    value: Value
    set: Setting


def is_numbers(value: object) -> bool:
    """Whether it is a number or a tuple of them, and none of them infinite."""
    several = value if isinstance(value, tuple) and value else (value,)
    return all(type(each) in (int, float) and np.isfinite(each) for each in several)


def modules_of(package: ModuleType) -> list[ModuleType]:
    """The modules of a package."""
    return [importlib.import_module(f"{package.__name__}.{found.name}") for found in pkgutil.iter_modules(package.__path__)]


def rules_of(package: ModuleType) -> Iterator[Rule]:
    """Every named number of a package that can be set from here."""
    for module in modules_of(package):
        short = module.__name__.removeprefix("analysis.")
        own = {
            name.id
            for statement in ast.parse(inspect.getsource(module)).body
            if isinstance(statement, (ast.Assign, ast.AnnAssign))
            for target in (statement.targets if isinstance(statement, ast.Assign) else [statement.target])
            for name in getattr(target, "elts", [target])
            if isinstance(name, ast.Name)
        }
        for name in sorted(own):
            value = getattr(module, name, None)
            if is_numbers(value) and not NO_RULE.search(name):
                yield Rule(f"{short}.{name}", value, everywhere(name, value))
        for name, thing in sorted(vars(module).items()):
            if getattr(thing, "__module__", "") != module.__name__ or NO_RULE.search(name):
                continue
            if inspect.isclass(thing) and dataclasses.is_dataclass(thing) and name.endswith("Rules"):
                for field in dataclasses.fields(thing):
                    if is_numbers(field.default):
                        yield Rule(f"{short}.{field.name}", field.default, of_field(thing, field.name))
            elif inspect.isfunction(thing) and thing.__kwdefaults__ is None and thing.__defaults__:
                names = list(inspect.signature(thing).parameters)[-len(thing.__defaults__) :]
                for at, (parameter, value) in enumerate(zip(names, thing.__defaults__, strict=True)):
                    if is_numbers(value) and value != 0:
                        yield Rule(f"{short}.{name}({parameter})", value, of_default(thing, at))


def everywhere(name: str, value: object) -> Setting:
    """Set a constant in its module and in all that took it over by name."""
    holders = [each for key, each in sys.modules.items() if key.startswith("analysis") and vars(each).get(name) is value]

    def to(new: Value) -> None:
        for holder in holders:
            setattr(holder, name, new)

    return to


def of_field(rules: type, name: str) -> Setting:
    """Set the default of a rule class, and the field of the objects of it that stand in modules."""
    made = [
        thing
        for key, module in list(sys.modules.items())
        if key.startswith("analysis")
        for thing in list(vars(module).values())
        if isinstance(thing, rules)
    ]
    defaults = rules.__init__.__kwdefaults__  # type: ignore[misc]

    def to(new: Value) -> None:
        defaults[name] = new
        for each in made:
            object.__setattr__(each, name, new)

    return to


def of_default(function: Any, at: int) -> Setting:
    """Set the default of a parameter."""

    def to(new: Value) -> None:
        defaults = list(function.__defaults__)
        defaults[at] = new
        function.__defaults__ = tuple(defaults)

    return to


def varied(value: Value, by: float) -> Value:
    """A fifth more or less; of what a share lacks to one where it is near one; whole numbers by at least one."""
    if isinstance(value, tuple):
        return tuple(varied(each, by) for each in value)  # type: ignore[misc]
    if type(value) is int:
        return value + max(1, round(abs(by * value))) * (1 if by > 0 else -1)
    return 1 - (1 - value) * (1 - by) if 0.8 < value < 1 else value * (1 + by)


# -- what is measured -------------------------------------------------------------------------------------------------------------


def read_all(pulls: list[Any]) -> list[Line]:
    """Every pull read and scored."""
    lines = []
    for number, pull in enumerate(pulls):
        answer = ours(pull.trace, pull.sensor)
        lines.append(score(number, pull.truth, answer, 1.0, pull.gain_error))
    return lines


def differs(a: float | None, b: float | None, share: float) -> bool:
    """Whether one is there without the other, or they lie further apart than that share."""
    return (a is None) != (b is None) or (a is not None and b is not None and abs(a - b) > share * max(abs(a), 1e-9))


def moved(one: Line, other: Line) -> bool:
    """Whether a reading changed."""
    a, b = one.answer, other.answer
    return (
        differs(a.breakaway_nm, b.breakaway_nm, SAME_NM)
        or differs(a.sliding_nm, b.sliding_nm, SAME_NM)
        or differs(a.breakaway_u_nm, b.breakaway_u_nm, SAME_U)
        or differs(a.sliding_u_nm, b.sliding_u_nm, SAME_U)
        or (a.codes, a.found, a.assessable, a.present) != (b.codes, b.found, b.assessable, b.present)
        or differs(a.rate_hz, b.rate_hz, SAME_U)
    )


def of_lines(lines: list[Line]) -> np.ndarray:
    """95th percentile and worst error of breakaway and sliding, shares held of both, in per cent."""
    figures: list[float] = []
    for name in ("breakaway", "sliding"):
        off = [value for line in lines if (value := getattr(line, name)) is not None]
        held = [value for line in lines if (value := getattr(line, f"{name}_covered_known")) is not None]
        figures += [float(np.percentile(off, 95)), max(off), float(np.mean(held))]
    return 100 * np.array(figures)


def series_of_values(count: int) -> list[tuple[list[Pull], Window]]:
    """Series of one to nine pulls about a window, of several scatters, both ways, some after a long rest, some with a stray."""
    rng = np.random.default_rng(7)
    made = []
    for _ in range(count):
        n, scatter = int(rng.integers(1, 10)), float(rng.choice([0.01, 0.03, 0.06, 0.1]))
        values = 50 * (1 + scatter * rng.standard_normal(n))
        values[rng.integers(n)] *= rng.choice([1.0, 1.0, 1.12, 1.17, 1.25])
        ways = rng.choice([1, -1], n) if rng.random() < 0.4 else np.ones(n)
        rests = np.where(rng.random(n) < 0.15, rng.choice([150.0, 180.0, 9000.0]), 40.0)
        pulls = [Pull.of(v, direction=int(w), rest_s=float(r)) for v, w, r in zip(values, ways, rests, strict=True)]
        low = 50 * float(rng.choice([0.7, 0.9, 0.97]))
        made.append((pulls, Window.parse(f"{low:.2f}..{50 * float(rng.choice([1.03, 1.12, 1.3])):.2f} N.m")))
    return made


def judged(made: list[tuple[list[Pull], Window]]) -> list[tuple[Any, ...]]:
    """What is said of each series: who counts, state, what is missing, value, U, and how many more would settle it."""
    told = []
    for pulls, window in made:
        series = read_series(pulls, window)
        verdict = series.verdict
        budget = None if verdict is None else verdict.budget
        told.append((series.counted, ROUGHLY.sub(r"\1", str(series)), None if budget is None else round(budget.expanded_u_nm, 3)))
    return told


# -- the table --------------------------------------------------------------------------------------------------------------------


def try_both(rule: Rule, measure: Callable[[], Any]) -> list[Any]:
    """What is measured with the rule a fifth lower and higher; an exception where it refuses."""
    found: list[Any] = []
    for by in (-STEP, STEP):
        rule.set(varied(rule.value, by))
        try:
            found.append(measure())
        except Exception as fault:  # noqa: BLE001  a rule that cannot be varied so is told
            found.append(fault)
        finally:
            rule.set(rule.value)
    return found


def guarded(rule: Rule, pulls: list[Any], base: list[Line]) -> str | None:
    """Kind of the first pull that is read otherwise, or not at all, with a rule far off; None where all are read as before."""
    for times in FAR_OFF:
        rule.set(far_off(rule.value, times))
        try:
            for pull, line in zip(pulls, base, strict=True):
                try:
                    with np.errstate(all="ignore"), warnings.catch_warnings():
                        warnings.simplefilter("ignore")
                        other = moved(line, read_all([pull])[0])
                except Exception:  # noqa: BLE001  a pull that cannot be read without the rule is guarded by it
                    other = True
                if other:
                    return str(pull.truth.kind)
        finally:
            rule.set(rule.value)
    return None


def far_off(value: Value, times: float) -> Value:
    """So many times the value; whole numbers stay whole."""
    if isinstance(value, tuple):
        return tuple(far_off(each, times) for each in value)  # type: ignore[misc]
    return round(times * value) if type(value) is int else times * value


def main() -> None:
    """Measure, and print a row a rule."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--makes", type=int, default=118)
    parser.add_argument("--wide", type=int, default=42)
    parser.add_argument("--series", type=int, default=300)
    parser.add_argument("--only", default="")
    parser.add_argument("--all", action="store_true")
    parser.add_argument("--guards", action="store_true")
    args = parser.parse_args()
    began = time.perf_counter()
    still: list[str] = []

    def show(rule: Rule, found: list[Any], row: Callable[[Any], tuple[int, str]]) -> None:
        rows = [(0, f"refused: {each}") if isinstance(each, Exception) else row(each) for each in found]
        count, text = max(rows)
        if count or args.all or "refused" in text:
            print(f"| {rule.name} | {rule.value} | {count} | {text} |", flush=True)
        else:
            still.append(rule.name)

    wanted = [rule for rule in rules_of(analysis.pull) if re.search(args.only, rule.name) and not OF_THE_FINDER.search(rule.name)]
    if wanted:
        pulls = [*makes(args.makes, FIRST_SEED), *simulate_cached(args.wide, FIRST_SEED, workers=1)]
        base = read_all(pulls)
        figures = of_lines(base)
        print(f"{len(wanted)} rules of pull on {len(pulls)} pulls; as they are: " + ", ".join(f"{each:.2f}" for each in figures))
        print("\n| rule | value | moved | breakaway p95 | worst | held | sliding p95 | worst | held | chatter turned |")
        print("|---|---|---|---|---|---|---|---|---|---|")

        def of_pulls(lines: list[Line]) -> tuple[int, str]:
            pairs = list(zip(base, lines, strict=True))
            turned = sum(a.answer.present != b.answer.present for a, b in pairs)
            changes = " | ".join(f"{each:+.2f}" if abs(each) >= 0.005 else "" for each in of_lines(lines) - figures)
            return sum(moved(a, b) for a, b in pairs), f"{changes} | {turned or ''}"

        for rule in wanted:
            show(rule, try_both(rule, lambda: read_all(pulls)), of_pulls)
        if args.guards:
            kinds = {rule.name: guarded(rule, pulls, base) for rule in wanted if rule.name in still}
            still = [name for name in still if kinds.get(name) is None]
            told = ", ".join(f"{name} ({kind})" for name, kind in kinds.items() if kind)
            print(f"\nguard, and with which kind of pull it shows: {told}")
    wanted = [rule for rule in rules_of(analysis.verdict) if re.search(args.only, rule.name)]
    if wanted:
        made = series_of_values(args.series)
        told = judged(made)
        print(f"\n{len(wanted)} rules of verdict on {len(made)} series\n\n| rule | value | changed | |\n|---|---|---|---|")
        for rule in wanted:
            found = try_both(rule, lambda: judged(made))
            show(rule, found, lambda new: (sum(a != b for a, b in zip(told, new, strict=True)), ""))
    print(f"\nmove nothing here ({len(still)}): {', '.join(still)}\n\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
