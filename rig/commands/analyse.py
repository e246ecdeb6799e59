"""`platepull analyse`: read traces from files, judge them, print a table or JSON."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.errors import BenchError
from rig.commands._options import add_judging, arm_of, rule_of, unit_of, window_of
from rig.commands._reading import mapped, spread

if TYPE_CHECKING:
    from analysis.results import DecisionRule, PullResult, SeriesResult, Verdict
    from analysis.window import Window
    from rig.calibration.sensor_in_use import SensorChoice

    Together = tuple[SeriesResult, list[str], Verdict | None]

NAME = "analyse"
HELP = "read traces from files and judge them"


@dataclass(frozen=True, slots=True)
class Task:
    """One file to read, and how. `window` was asked for; else the file's own counts, else the `fallback` of the settings."""

    path: str
    window: Window | None
    fallback: Window | None
    basis: str | None
    rule: DecisionRule
    sensors: SensorChoice
    arm_m: float | None


@dataclass(frozen=True, slots=True)
class Analysed:
    """One file read and judged, or what is wrong with it."""

    path: str
    result: PullResult | None = None
    window: Window | None = None
    verdict: Verdict | None = None
    notes: tuple[str, ...] = ()
    error: str | None = None


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's options."""
    parser.add_argument("traces", nargs="+", metavar="TRACE.csv", help="trace files")
    add_judging(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON document (see rig/schemas/analysis.schema.json)")
    parser.add_argument("--budget", action="store_true", help="print the uncertainty budgets too")
    parser.add_argument(
        "--series", action="store_true", help="the traces are pulls of one unit, in order: one verdict on their mean"
    )
    parser.add_argument("--arm", metavar="A", help="lever arm for curves of force and position, such as '0.6 m' (1 m)")


def run(args: argparse.Namespace) -> int:
    """Analyse all files; 2 if one could not be read."""
    from rig.commands._watch import sensor_choice
    from rig.settings import load_settings
    from rig.words.sentences import series_lines

    settings = load_settings()
    unit = unit_of(args.unit or settings.unit)
    task = Task(
        path="",
        window=window_of(args.window, args.basis),
        fallback=window_of(settings.window, args.basis or settings.basis),
        basis=args.basis,
        rule=rule_of(args.rule or settings.rule),
        sensors=sensor_choice(args, settings),
        arm_m=arm_of(args.arm),
    )
    outcomes = []
    with mapped(analyse_file, [replace(task, path=path) for path in spread(args.traces)]) as analysed:
        for one in analysed:
            outcomes.append(one)
            if one.error is not None:
                print(f"platepull analyse: {one.error}", file=sys.stderr)
            elif not args.json:
                print("\n".join(_table_rows(one, unit, with_budget=args.budget)))
    series = _series(outcomes, task, args.basis or settings.basis) if args.series else None
    if args.json:
        _print_json(outcomes, series, with_budget=args.budget)
    elif series is not None:
        print("\n".join(series_lines(*series, unit)))
    return 2 if any(one.error is not None for one in outcomes) else 0


def analyse_file(task: Task) -> Analysed:
    """Read and judge one file; what is wrong with the file comes back as a sentence."""
    from analysis.verdict.judge import judge
    from analysis.window import Basis
    from rig.files.pull_file import read_recording
    from rig.words.sentences import reading_notes

    try:
        recording = read_recording(Path(task.path), task.sensors.of, arm_m=task.arm_m)
        result, info = recording.result, recording.info
        window = task.window
        if window is None and info.window is not None:
            window = replace(info.window, basis=Basis(task.basis or info.window.basis))
        window = window or task.fallback
        verdict = None if window is None else judge(result, window, task.rule)
    except BenchError as error:
        return Analysed(task.path, error=" ".join(str(error).split()))
    except Exception as error:  # noqa: BLE001  a fault of ours in one file must not cost the readings of the others
        return Analysed(task.path, error=f"{task.path}: not read by a fault of ours ({error!r}); report this with the file")
    return Analysed(task.path, result, window, verdict, (*info.notes, *reading_notes(result)))


def _series(outcomes: Sequence[Analysed], task: Task, basis: str | None) -> Together:
    """The traces that could be read, taken together; the window is the one they were all judged against, if there is one."""
    from analysis.verdict.judge import judge_series
    from analysis.verdict.series import read_series
    from analysis.window import Basis

    results = [one.result for one in outcomes if one.result is not None]
    windows = {one.window for one in outcomes if one.result is not None}
    window = windows.pop() if len(windows) == 1 else None
    series = read_series(results, Basis(basis or Basis.BREAKAWAY) if window is None else window.basis)
    verdict = None if window is None else judge_series(series, window, task.rule)
    return series, [one.path for one in outcomes if one.result is not None], verdict


def _print_json(outcomes: Sequence[Analysed], series: Together | None, *, with_budget: bool) -> None:
    from rig.files.result_json import analysis_document, series_document

    together = {} if series is None else {"series": series_document(*series)}
    documents = [
        {**analysis_document(one.path, one.result, one.verdict, one.notes, with_budget=with_budget), **together}
        for one in outcomes
        if one.result is not None
    ]
    print(json.dumps(documents, indent=1, allow_nan=False))


def _table_rows(one: Analysed, unit: str, *, with_budget: bool) -> list[str]:
    from rig.words import sentences as wording

    result = one.result
    if result is None:
        return []
    rows = [one.path, f"  pack breakaway  {'none found'}"]
    if result.breakaway is not None:
        reading = result.breakaway
        angle = "" if reading.angle_deg is None else f" and {reading.angle_deg:.1f} deg"
        shown = wording.torque_with_u(reading.torque_nm, reading.budget.expanded_u_nm, unit)
        rows[-1] = f"  pack breakaway  {shown} at {reading.time_s:.3f} s{angle}" + (
            "" if result.direction == 1 else ", pulled the other way"
        )
        if reading.first_step_nm is not None:
            rows.append(f"  first step      {wording.torque(reading.first_step_nm, unit)}, not taken for breakaway")
    elif result.held_nothing:
        rows[-1] += ": nothing held, the unit turns freely"
    rows.append("  pack sliding    none found")
    if result.sliding is not None:
        sliding = result.sliding
        travel = f"{sliding.to_s - sliding.from_s:.2f} s" + (
            "" if sliding.travel_deg is None else f", {sliding.travel_deg:.1f} deg"
        )
        rows[-1] = f"  pack sliding    {wording.torque_with_u(sliding.torque_nm, sliding.budget.expanded_u_nm, unit)} over {travel}"
    rows.append(f"  chatter         {wording.chatter_text(result.chatter, unit)}")
    if one.verdict is not None:
        rows.append(f"  {wording.STATE_WORD[one.verdict.state]:<14}  {wording.verdict_text(one.verdict, unit)}")
    rows += [f"  doubt           {wording.quality_text(flag)}" for flag in result.quality]
    rows += [f"  note            {note}" for note in one.notes]
    if with_budget:
        for name, figures in (("pack breakaway", result.breakaway), ("pack sliding", result.sliding)):
            rows += [] if figures is None else wording.budget_lines(name, figures.budget, unit)
    return rows
