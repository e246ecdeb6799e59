"""How often the recommended shims land: the program and three simple ways on the same simulated units.

    python tests/speed/shims.py                         1,000 units pulled as found and the other families (some ten minutes)
    python tests/speed/shims.py --units 100             a tenth of it
    python tests/speed/shims.py --families found,free --seed 50000 --habits other --cases /tmp/cases

Prints markdown. Nothing here passes or fails: it measures what the pack's inference is worth on units of
`tests/support/pack_units.py`, whose physics are
written apart from the analysis. Seeds from 900000 on are kept aside: nothing was looked at or mended by them.

A unit is feasible where somebody who knew everything about it would land with at least 80 % with some choice from the shelf. Where
the friction, the springs
or the spaces of a unit come from wider distributions than the program believes in (`--habits other`), figures are worse, as they
should be.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402
from support.pack_sheets import MISTAKES, NotHereError, write_sheets  # noqa: E402
from support.pack_units import SOLID_SHARE, Entry, Fit, PackUnit, draw_unit  # noqa: E402
from support.pack_ways import SIMPLE_WAYS, plain_algebra, stands_right_on_paper  # noqa: E402

from analysis.errors import BenchError  # noqa: E402

FEASIBLE = 0.80  # knowing everything lands at least so often
MOST_CHANGES = 4
LISTED = 10  # choices of an answer whose probabilities are kept count of
SHARES = {"free": 0.2, "heights": 0.2, "mistaken": 0.1, "spoilt": 0.15}  # of the number of units pulled as found
AT_LEAST = {"free": 30, "heights": 30, "mistaken": 15, "spoilt": 15}
PROGRAM = "platepull"
FIRST_MAKE_SURE = "first make sure how it was pulled"
"""The answer's own words (`rig/pack/words.py`), which the bench follows without opening anything."""

Answer = dict[str, Any]


def ask(folder: Path) -> Answer:
    """The program's answer to the sheets in `folder` (PACK.md 4)."""
    from rig.pack import answer

    return answer(folder / "PACK.toml")


@dataclass
class Ask:
    """One question and what was answered, beside what is true."""

    stated_lands: list[float] = field(default_factory=list)
    true_lands: list[float] = field(default_factory=list)
    held: list[float] = field(default_factory=list)  # chance that the next reading lies in the stated interval
    best_held: float | None = None
    best_stated: float | None = None
    best_true: float | None = None


@dataclass
class Outcome:
    """How one unit went one way."""

    landed_at: int | None = None  # change at which it landed; 0: left alone
    changes: int = 0
    stopped: str | None = None
    said_infeasible: bool = False
    solid: int = 0
    asks: list[Ask] = field(default_factory=list)
    first_fit: Fit | None = None
    seconds: list[float] = field(default_factory=list)
    first_answer: Answer | None = None
    hints: list[str] = field(default_factory=list)
    pulled_again: bool = False  # as it stands, because the answer asked to make sure how it was pulled


@dataclass
class Played:
    """A unit and all ways."""

    unit: PackUnit
    best_chance: float
    itself: bool  # some choice would make the unit itself land
    ways: dict[str, Outcome]
    chance_of: dict[str, float]  # of the first change by each way, in truth

    @property
    def feasible(self) -> bool:
        return self.best_chance >= FEASIBLE


Case = tuple[PackUnit, list[Entry], dict[str, np.ndarray]]


def units_of(family: str, habits: str, seed: int, count: int) -> Iterator[Case]:
    """Units of a family that do not stand right, with what has been pulled of them and the chances of every choice."""
    given = 0
    while given < count:
        seed += 1
        unit = draw_unit(seed, family, habits)
        if unit is None or len(unit.choices) < 2:
            continue
        entry, landed = unit.pull(unit.fitted, 0, "old", as_found=True)
        if landed and not unit.found_alone:
            continue
        values = entry.breakaway_nm or entry.sliding_nm
        if family == "free" and np.mean(values) > unit.card.low_nm / 5:
            continue
        if family != "free" and np.mean(values) < 1.5:
            continue
        history = [entry]
        if unit.tags["variant"] == "two":  # closed once with other outer plates and the same shims, and pulled
            second, landed = unit.pull(unit.fitted, 1)
            if landed:
                continue
            history.append(second)
        if not unit.found_alone and stands_right_on_paper(unit, unit.fitted, history):
            continue
        chances = unit.chance(unit.choices, unit.closures[1], unit.still_new(len(history)))
        yield unit, history, chances
        given += 1


def simple_way(unit: PackUnit, pulled: list[Entry], way: Callable[[PackUnit, Fit, list[Entry]], Fit]) -> Outcome:
    """Play one of the simple ways until it lands or nobody would go on."""
    out, history, fitted = Outcome(), list(pulled), unit.fitted
    for change in range(1, MOST_CHANGES + 1):
        fitted = way(unit, fitted, history)
        next_entry, landed = unit.pull(fitted, len(history))
        history.append(next_entry)
        out.changes, out.first_fit = change, out.first_fit or fitted
        if landed:
            out.landed_at = change
            return out
    return out


def program(unit: PackUnit, pulled: list[Entry], folder: Path) -> Outcome:
    """Ask the program, fit what it says, pull, ask again."""
    out, history, fitted, more = Outcome(), list(pulled), unit.fitted, 0
    change = 0
    while change < MOST_CHANGES:
        write_sheets(folder, unit, fitted, history)
        start = time.process_time()
        said = ask(folder)
        out.seconds.append(time.process_time() - start)
        if out.first_answer is None:
            out.first_answer = said
        out.hints += [h["code"] for h in said.get("hints", [])]
        stops = [p["code"] for p in said["problems"] if p["severity"] == "stop"]
        if stops:
            out.stopped = ",".join(stops)
            return out
        out.asks.append(_checked(unit, said, len(history)))
        if FIRST_MAKE_SURE in said["reason"] and change == 0 and not out.pulled_again:
            # The bench does as told: it pulls once more as the unit stands, in a sure arrangement, and adds that.
            out.pulled_again = True
            last = len(history) - 1
            again, landed = unit.pull(fitted, last, "now" if last else "old", as_found=last == 0, again=True)
            if landed and not unit.found_alone:
                out.landed_at = 0
                return out
            history.append(again)
            continue
        if said["feasible"] is False and change == 0:
            out.said_infeasible = True
            return out
        if said["leave_alone"]:
            return out
        if said["pull_more"] and more == 0 and not unit.found_alone and not out.pulled_again:
            more = min(int(said["pull_more"]), 20)
            last = len(history) - 1
            history[-1], landed = unit.pull(fitted, last, "now" if last else "old", more, as_found=last == 0)
            if landed:
                out.landed_at = change
                return out
            continue
        more = 0
        if not said["candidates"]:
            return out
        best = said["candidates"][0]
        fitted = Fit(tuple(best["left"]["shims_mm"]), tuple(best["right"]["shims_mm"]))
        change += 1
        state = unit.truth([fitted], closure=unit.closures[1])
        if unit.card.layout != "block" and float(state.share[0]) >= SOLID_SHARE:
            out.solid += 1
        next_entry, landed = unit.pull(fitted, len(history) - out.pulled_again)
        history.append(next_entry)
        out.changes, out.first_fit = change, out.first_fit or fitted
        if landed:
            out.landed_at = change
            return out
    return out


def _checked(unit: PackUnit, said: Answer, number: int) -> Ask:
    """What the answer states of the choices it lists, beside what is true of them."""
    listed = said["candidates"][:LISTED]
    fits = [Fit(tuple(c["left"]["shims_mm"]), tuple(c["right"]["shims_mm"])) for c in listed]
    kept = Ask()
    if not fits:
        return kept
    true = unit.chance(fits, unit.closures[1], unit.still_new(number))
    from scipy.stats import norm

    for i, c in enumerate(listed):
        held = norm.cdf((c["torque_high_nm"] - true["torque"][i]) / true["spread"][i]) - norm.cdf(
            (c["torque_low_nm"] - true["torque"][i]) / true["spread"][i]
        )
        kept.stated_lands.append(float(c["probability_lands"]))
        kept.true_lands.append(float(true["lands"][i]))
        kept.held.append(float(held))
    kept.best_held, kept.best_stated, kept.best_true = kept.held[0], kept.stated_lands[0], kept.true_lands[0]
    return kept


def play(family: str, habits: str, seed: int, count: int, cases: Path | None, with_program: bool) -> list[Played]:
    """Every way on `count` units of a family."""
    played = []
    with tempfile.TemporaryDirectory() as scratch:
        for unit, history, chances in units_of(family, habits, seed, count):
            ways = {name: simple_way(unit, history, way) for name, way in SIMPLE_WAYS.items()}
            folder = Path(scratch) / "sheets"
            if with_program:
                try:
                    ways[PROGRAM] = program(unit, history, folder)
                except Exception as error:  # noqa: BLE001 - a crash is a result to be counted here
                    ways[PROGRAM] = Outcome(stopped=f"crash: {type(error).__name__}: {error}")
            one = Played(
                unit=unit,
                best_chance=float(chances["lands"].max()),
                itself=bool(chances["itself"].any()),
                ways=ways,
                chance_of={name: _chance(unit, out.first_fit, len(history)) for name, out in ways.items()},
            )
            played.append(one)
            if cases is not None and with_program:
                _keep_case(cases, one, history, chances)
            if len(played) % 50 == 0:
                print(f"{family}: {len(played)} of {count}", file=sys.stderr, flush=True)
    return played


def _chance(unit: PackUnit, fit: Fit | None, number: int) -> float:
    """How often a choice would land, knowing everything; none chosen: never."""
    return 0.0 if fit is None else float(unit.chance([fit], unit.closures[1], unit.still_new(number))["lands"][0])


def _keep_case(cases: Path, one: Played, history: list[Entry], chances: dict[str, np.ndarray]) -> None:
    """Keep the sheets of a unit that went wrong, with the hidden truth and the answer."""
    out, plain = one.ways[PROGRAM], one.ways["plain algebra"]
    reason = None
    if out.stopped:
        reason = "crash" if out.stopped.startswith("crash") else "false_stop"
    elif out.solid:
        reason = "solid"
    elif one.feasible and out.said_infeasible:
        reason = "called_infeasible"
    elif one.best_chance < 0.2 and not one.itself and not out.said_infeasible:
        reason = "infeasible_not_told"
    elif one.feasible and out.landed_at != 1 and plain.landed_at == 1:
        reason = "plain_lands"
    elif one.feasible and out.asks and out.asks[0].best_true is not None and out.asks[0].best_true < one.best_chance - 0.3:
        reason = "poor_choice"
    if reason is None:
        return
    unit = one.unit
    folder = cases / f"{reason}_{unit.family}_{unit.habits}_{unit.seed}"
    write_sheets(folder, unit, unit.fitted, history)
    order = np.argsort(-chances["lands"])[:5]
    truth = {
        "tags": unit.tags,
        "why_kept": reason,
        "best_knowing_everything": [
            {
                "left": unit.choices[i].left,
                "right": unit.choices[i].right,
                "torque_nm": round(float(chances["torque"][i]), 2),
                "share": round(float(chances["share"][i]), 3),
                "lands": round(float(chances["lands"][i]), 3),
            }
            for i in order
        ],
        "fitted_now": {
            "torque_nm": unit.truth([unit.fitted], closure=unit.closures[1]).torque_nm.tolist(),
            "share": unit.truth([unit.fitted]).share.tolist(),
            "play_mm": unit.truth([unit.fitted]).play_mm.tolist(),
        },
        "hidden": {
            "sliding_mu": unit.parts["now"].sliding_mu,
            "breaks": unit.breaks,
            "pull_sd": unit.pull_sd,
            "rebuild_sd": unit.rebuild_sd,
            "gain": unit.gain,
            "yielding": asdict(unit.yielding),
            "seat_mm": unit.seat_mm,
            "stand": unit.stand,
            "closure_gap_mm": unit.closure_gap_mm,
            "strength": {s: [d.strength for _, d in unit.parts["now"].discs[s]] for s in ("left", "right")},
            "discs": {s: [(d.thickness_mm, d.free_mm) for _, d in unit.parts["now"].discs[s]] for s in ("left", "right")},
        },
        "plain_algebra_chose": asdict(plain_algebra(unit, unit.fitted, history)),
        "program": {
            "stopped": out.stopped,
            "landed_at": out.landed_at,
            "first_stated": out.asks[0].stated_lands if out.asks else [],
            "first_true": out.asks[0].true_lands if out.asks else [],
        },
    }
    (folder / "truth.json").write_text(json.dumps(truth, indent=1, default=float), encoding="utf-8")
    (folder / "answer.json").write_text(json.dumps(out.first_answer, indent=1, default=str), encoding="utf-8")


# ---------------------------------------------------------------------- figures
def _share(values: list[bool]) -> str:
    n = len(values)
    if not n:
        return "-"
    p = sum(values) / n
    half = 1.96 * np.sqrt(max(p * (1 - p), 0.25 / n) / n)
    return f"{p:.3f} ± {half:.3f} ({n})"


def _first(out: Outcome) -> bool:
    return out.landed_at == 1


def _within(out: Outcome, changes: int) -> bool:
    return out.landed_at is not None and out.landed_at <= changes


def _openings(out: Outcome) -> int:
    return out.landed_at if out.landed_at is not None else MOST_CHANGES


def table_landing(title: str, played: list[Played]) -> None:
    """First change, within two, within four, openings: by way."""
    feasible = [p for p in played if p.feasible]
    print(f"\n### {title}: {len(played)} units, {len(feasible)} feasible\n")
    print("| way | first change lands | within two | within four | mean openings |\n|---|---|---|---|---|")
    for name in sorted({n for p in played for n in p.ways}, key=lambda n: (n != PROGRAM, n)):
        outs = [p.ways[name] for p in feasible]
        cells = [_share([_first(o) for o in outs]), *(_share([_within(o, n) for o in outs]) for n in (2, 4))]
        print(f"| {name} | {' | '.join(cells)} | {np.mean([_openings(o) for o in outs]):.3f} |")
    best = [p.best_chance for p in feasible]
    print(f"| knowing everything | {np.mean(best):.3f} | | | |")
    if PROGRAM in played[0].ways:
        pairs = Counter((_first(p.ways[PROGRAM]), _first(p.ways["plain algebra"])) for p in feasible)
        print(f"\nland first only by the program: {pairs[True, False]}; only by plain algebra: {pairs[False, True]}")
        gain = np.array([p.chance_of[PROGRAM] - p.chance_of["plain algebra"] for p in feasible])
        won, lost = gain[gain > 0].sum(), -gain[gain < 0].sum()
        means = ", ".join(f"{name} {np.mean([p.chance_of[name] for p in feasible]):.4f}" for name in feasible[0].chance_of)
        print(f"chance of the first change, in truth: {means}; sum won over plain algebra {won:.1f}, lost {lost:.1f}")


def table_by(title: str, played: list[Played], key: Callable[[PackUnit], str]) -> None:
    """Landing of the first change by a property of the unit."""
    names = [n for n in (PROGRAM, *SIMPLE_WAYS) if n in played[0].ways]
    print(f"\n| {title} | feasible | " + " | ".join(names) + " | knowing everything |\n|" + "---|" * (len(names) + 3))
    rows = defaultdict(list)
    for p in played:
        if p.feasible:
            rows[key(p.unit)].append(p)
    for value in sorted(rows):
        cells = " | ".join(f"{np.mean([_first(p.ways[n]) for p in rows[value]]):.3f}" for n in names)
        print(f"| {value} | {len(rows[value])} | {cells} | {np.mean([p.best_chance for p in rows[value]]):.3f} |")


def calibration(asks: list[Ask]) -> tuple[float, float, str]:
    """Calibration error over ten bins weighted by how full they are, expected Brier score, and the bins."""
    stated = np.array([s for a in asks for s in a.stated_lands])
    true = np.array([t for a in asks for t in a.true_lands])
    if not len(stated):
        return float("nan"), float("nan"), ""
    brier = float(np.mean((stated - true) ** 2 + true * (1 - true)))
    bins = np.minimum((stated * 10).astype(int), 9)
    error, shown = 0.0, []
    for b in range(10):
        inside = bins == b
        if inside.any():
            error += inside.mean() * abs(stated[inside].mean() - true[inside].mean())
            shown.append(f"{stated[inside].mean():.2f}->{true[inside].mean():.2f} ({inside.sum()})")
    return float(error), brier, ", ".join(shown)


def figures_of_probability(title: str, chosen: list[Played]) -> None:
    """Calibration, Brier, intervals of the program's first answers."""
    firsts = [p.ways[PROGRAM].asks[0] for p in chosen if p.ways[PROGRAM].asks]
    later = [a for p in chosen for a in p.ways[PROGRAM].asks[1:]]
    held = [h for a in firsts for h in a.held]
    if not held:
        return
    best = [a.best_held for a in firsts if a.best_held is not None]
    print(f"\n{title}: {_quality(firsts)}; of the best choices alone intervals hold {np.mean(best):.3f}")
    if later:
        print(f"  after the first change: {_quality(later)}")


def _quality(asks: list[Ask]) -> str:
    error, brier, bins = calibration(asks)
    held = np.mean([h for a in asks for h in a.held])
    return f"calibration error {error:.3f}, Brier {brier:.3f}, 95 % intervals hold {held:.3f}; stated->true: {bins}"


def mistakes(habits: str, seed: int, count: int, cases: Path | None) -> None:
    """Sheets with one mistake typed in: how many are stopped."""
    stopped: dict[str, list[bool]] = defaultdict(list)
    names = list(MISTAKES)
    with tempfile.TemporaryDirectory() as scratch:
        for i, (unit, history, _) in enumerate(units_of("found", habits, seed, count)):
            name = names[i % len(names)]
            folder = Path(scratch) / "sheets"
            try:
                write_sheets(folder, unit, unit.fitted, history, name)
            except NotHereError:
                continue
            try:
                said = ask(folder)
                caught = any(p["severity"] == "stop" for p in said["problems"])
            except BenchError:  # refused with a sentence (exit status 2): told as well
                caught = True
            except Exception as error:  # noqa: BLE001 - counted as not told
                print(f"crash on a mistake ({name}, seed {unit.seed}): {type(error).__name__}: {error}", file=sys.stderr)
                caught = False
            stopped[name].append(caught)
            if not caught and cases is not None:
                kept = cases / f"mistake_{name.replace(' ', '_')}_{unit.seed}"
                shutil.copytree(folder, kept, dirs_exist_ok=True)
    every = [c for values in stopped.values() for c in values]
    print(f"\nTyped mistakes stopped: {_share(every)}; " + ", ".join(f"{n} {sum(v)}/{len(v)}" for n, v in stopped.items()))


def report(families: dict[str, list[Played]]) -> None:
    """Everything that 'To reach' asks for."""
    for family, played in families.items():
        if not played:
            continue
        table_landing(family, played)
        if family == "found":
            table_by("half width of the window", played, lambda u: f"{float(u.tags['width']) * 100:02.0f} %")
            table_by("layout", played, lambda u: u.tags["layout"])
        if family == "heights":
            table_by("space", played, lambda u: "with [space]" if u.measured.space_mm else "without")
            table_by("history", played, lambda u: u.tags["variant"])
        if PROGRAM not in played[0].ways:
            continue
        figures_of_probability(f"{family}, feasible units", [p for p in played if p.feasible])
        figures_of_probability(f"{family}, units no choice sets right", [p for p in played if not p.itself])
        figures_of_probability(f"{family}, all units", played)
        outs = [p.ways[PROGRAM] for p in played]

        def told(which: Callable[[Played], bool], played: list[Played] = played) -> str:
            return _share([p.ways[PROGRAM].said_infeasible for p in played if which(p)])

        print(f"\ninfeasible told at the first ask: {told(lambda p: not p.itself)} of units that no choice sets right,")
        print(f"{told(lambda p: not p.feasible)} of all not feasible; feasible called infeasible: {told(lambda p: p.feasible)}")
        again = [o for o in outs if o.pulled_again]
        right = sum(o.landed_at == 0 for o in again)
        print(f"pulled again as they stood, to make sure of the arrangement: {len(again)}; right so: {right}")
        stops = dict(Counter(o.stopped for o in outs if o.stopped))
        print(f"built solid: {sum(o.solid for o in outs)}; false stops: {_share([o.stopped is not None for o in outs])} {stops}")
        seconds = [s for o in outs for s in o.seconds]
        print(f"processor seconds an answer: median {np.median(seconds):.3f}, longest {max(seconds):.3f}" if seconds else "")


def main() -> None:
    """Run the families asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=1000, help="units pulled as found; the other families in proportion")
    parser.add_argument("--families", default="found,free,heights,mistaken,spoilt,mistakes")
    parser.add_argument("--habits", default="told", choices=["told", "other"])
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--cases", type=Path, help="folder that gets the sheets of units that went wrong")
    parser.add_argument("--simple-only", action="store_true", help="without the program")
    args = parser.parse_args()
    wanted = args.families.split(",")
    start = time.perf_counter()
    families = {}
    for family in ("found", "free", "heights", "mistaken", "spoilt"):
        if family in wanted:
            count = args.units if family == "found" else max(round(args.units * SHARES[family]), AT_LEAST[family])
            families[family] = play(family, args.habits, args.seed, count, args.cases, not args.simple_only)
    print(f"Units drawn by `{args.habits}` habits from seed {args.seed}; shares with their 95 % interval and (number).")
    report(families)
    if "mistakes" in wanted and not args.simple_only:
        mistakes(args.habits, args.seed + 500_000, max(args.units // 4, 48), args.cases)
    print(f"\n{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
