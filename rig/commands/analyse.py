"""`platepull analyse`: read traces from files, judge them, print a table or JSON."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.errors import BenchError
from rig.commands._judging import Judging
from rig.commands._options import add_judging, add_stated, arm_of, stated_info, unit_for
from rig.commands._reading import mapped, spread, told_of
from rig.errors import ArgumentError
from rig.words.language import in_language, say
from rig.words.retold import retold

if TYPE_CHECKING:
    from analysis.judgement import Missing, SeriesResult, Verdict
    from analysis.results import PullResult
    from analysis.window import Window
    from rig.calibration.sensor_in_use import SensorChoice
    from rig.files.metadata import TraceInfo

NAME = "analyse"
HELP = "read traces from files and judge them"

MIXED = 4
"""Exit status of a series that is none: the pulls are not of one unit in one state."""


@dataclass(frozen=True, slots=True)
class Task:
    """One file to read, and how; `stated` is what the options say where the file says nothing."""

    path: str
    judging: Judging
    sensors: SensorChoice
    arm_m: float | None
    stated: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Analysed:
    """One file read and judged, or what is wrong with it."""

    path: str
    result: PullResult | None = None
    info: TraceInfo | None = None
    window: Window | None = None
    verdict: Verdict | None = None
    notes: tuple[str, ...] = ()
    error: str | None = None


@dataclass(frozen=True, slots=True)
class Together:
    """The traces as a series: their names, what they say, and the words for it."""

    names: list[str]
    series: SeriesResult
    text: list[str]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The verb's options."""
    parser.add_argument("traces", nargs="+", metavar="TRACE.csv", help="trace files")
    add_judging(parser)
    add_stated(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON document (see 'platepull schema analysis')")
    parser.add_argument("--budget", action="store_true", help="print the uncertainty budgets too")
    parser.add_argument(
        "--series", action="store_true", help="the traces are pulls of one unit in one state, in order: one verdict on the unit"
    )
    parser.add_argument(
        "--despite",
        metavar="FIELD,...",
        help="take a series together although these fields of its metadata differ (such as arrangement, oil, additive)",
    )
    parser.add_argument("--arm", metavar="A", help="lever arm for curves of force and position, such as '0.6 m' (1 m)")


def run(args: argparse.Namespace) -> int:
    """Analyse all files; 2 if one could not be read, 4 if they are no series."""
    from rig.commands._chosen import sensor_choice
    from rig.settings import load_settings

    settings = load_settings()
    task = Task(
        path="",
        judging=Judging.of(args, settings),
        sensors=sensor_choice(args, settings),
        arm_m=arm_of(args.arm),
        stated=stated_info(args),
    )
    despite = _despite(args.despite)
    unit = partial(unit_for, args, settings)
    unit(None)
    outcomes = []
    with mapped(analyse_file, [replace(task, path=path) for path in spread(args.traces)]) as analysed:
        for one in analysed:
            outcomes.append(one)
            if one.error is not None:
                print(f"platepull analyse: {one.error}", file=sys.stderr)
            elif not args.json:
                print("\n".join(_table_rows(one, unit(one.window), with_budget=args.budget)))
    read = [one for one in outcomes if one.result is not None]
    mixed = _mixed(read, despite) if args.series else []
    for line in mixed:
        print(f"platepull analyse: {say('no series: {why}', why=line)}", file=sys.stderr)
    if mixed and not args.json:  # who reads only the table must not look for a verdict that is not there
        print(say("no series, no verdict on the unit: {why}", why="; ".join(mixed)))
    together = _together(read, task, args.basis or settings.basis, unit) if args.series and not mixed else None
    if args.json:
        _print_json(read, together, with_budget=args.budget)
    elif together is not None:
        print("\n".join(together.text))
    if any(one.error is not None for one in outcomes):
        return 2
    return MIXED if mixed else 0


def _despite(text: str | None) -> tuple[str, ...]:
    """The fields of `--despite`, by their keys. Raises ArgumentError."""
    from rig.files.one_state import NAMES, ONE_STATE

    keys = {name: key for key, name in NAMES.items()} | {key: key for key in ONE_STATE}
    given = [each.strip().lower().replace("-", "_") for each in (text or "").split(",") if each.strip()]
    for each in given:
        if each not in keys and each.replace("_", " ") not in keys:
            remedy = f"use {', '.join(NAMES.get(key, key) for key in ONE_STATE)}"
            raise ArgumentError(f"'{each}' is not a field of a series", where="--despite", remedy=remedy)
    return tuple(keys.get(each) or keys[each.replace("_", " ")] for each in given)


def _mixed(read: Sequence[Analysed], despite: Sequence[str]) -> list[str]:
    """Why the traces are no series, a line for each field that differs."""
    from rig.files.one_state import NAMES, differences

    infos = [one.info for one in read if one.info is not None]
    return [
        say(
            "{what}; leave one out, or say --despite {field}",
            what=retold(each.text),
            field=NAMES.get(each.field, each.field).replace(" ", "_"),
        )
        for each in differences(infos, [one.path for one in read])
        if each.field not in despite
    ]


def analyse_file(task: Task) -> Analysed:
    """Read and judge one file; what is wrong with the file comes back as a sentence."""
    from analysis.verdict.judge import judge_pull
    from analysis.verdict.votes import pull_of
    from rig.files.pull_file import read_recording

    try:
        recording = read_recording(Path(task.path), task.sensors.of, arm_m=task.arm_m)
        result, judging = recording.result, task.judging
        info = replace(recording.info, **{key: value for key, value in task.stated.items() if getattr(recording.info, key) is None})
        pull = pull_of(result, info.stated())
        window = judging.window(info.window, info.plate_state)
        verdict = None
        if window is not None:
            verdict = judge_pull(pull, window, judging.rule, known=judging.scatter, convert=judging.convert)
    except BenchError as error:
        return Analysed(task.path, error=told_of(task.path, error))
    except Exception as error:  # noqa: BLE001  a fault of ours in one file must not cost the readings of the others
        return Analysed(
            task.path,
            error=say(
                "{path}: not read by a fault of ours ({error}); report this with the file", path=task.path, error=repr(error)
            ),
        )
    meant = task.sensors.stated(info)
    said: tuple[str, ...] = () if meant is None else (f"sensor's uncertainty: {meant.sentence()}",)
    if info.excluded is not None:
        said = (*said, f"marked as not to count: {info.excluded}")
    if info.free_turn:
        said = (*said, "kept at the bench as a free turn that nobody called the pull; given here, it counts as one")
    said += _overruled(recording.info, task.stated)
    return Analysed(task.path, result, info, window, verdict, (*info.notes, *said))


def _overruled(info: TraceInfo, stated: Mapping[str, Any]) -> tuple[str, ...]:
    """What an option states and the trace's own metadata says otherwise: the metadata counts, and that is told."""
    from rig.files.one_state import NAMES, alike

    both = [(key, getattr(info, key), typed) for key, typed in stated.items()]
    return tuple(
        f"{NAMES.get(key, key)}: the trace's metadata says '{there}', and that counts; the option says '{typed}'"
        for key, there, typed in both
        if there is not None and alike(there) != alike(typed)
    )


def _together(read: Sequence[Analysed], task: Task, basis: str | None, unit: Callable[[Window | None], str]) -> Together:
    """The traces that could be read, taken together; the window is the one they were all judged against, if there is one."""
    from analysis.verdict.series import read_series
    from analysis.verdict.votes import Pull, pull_of
    from analysis.window import Basis
    from rig.words.verdicts import series_lines

    held_against = {one.window for one in read}
    window = next(iter(held_against)) if len(held_against) == 1 else None
    of = Basis(basis or Basis.BREAKAWAY) if window is None else window.basis
    pulls: list[Pull] = []
    for at, one in enumerate(read):
        assert one.result is not None
        assert one.info is not None
        stated = one.info.stated()
        had = one.result.breakaway is not None or one.result.sliding is not None
        twin = next((other.path for other in read[:at] if had and other.result == one.result), None)
        # The same samples twice are one pull: counted twice they would look like knowledge.
        pulls.append(pull_of(one.result, stated if twin is None else replace(stated, excluded=f"the same pull as {twin}")))
    judging = task.judging
    series = read_series(
        pulls, window, basis=of, rule=judging.rule, known=judging.scatter, missing=_missing(read), convert=judging.convert
    )
    names = [one.path for one in read]
    text = series_lines(series, names, of, unit(window))
    if len(held_against) > 1:
        text.append(say("  no verdict: the traces state different windows; give one with --window or --spec"))
    return Together(names, series, text)


def _missing(read: Sequence[Analysed]) -> list[Missing]:
    from analysis.judgement import Missing
    from rig.files.one_state import partly_stated

    return [Missing.CONDITIONS] if partly_stated([one.info for one in read if one.info is not None]) else []


def _print_json(read: Sequence[Analysed], together: Together | None, *, with_budget: bool) -> None:
    from rig.files.result_json import analysis_document, series_document
    from rig.words.sentences import reading_notes

    traces = [
        analysis_document(one.path, one.result, one.verdict, (*one.notes, *reading_notes(one.result)), with_budget=with_budget)
        for one in read
        if one.result is not None
    ]
    if together is None:
        print(json.dumps(traces, indent=1, allow_nan=False))
        return
    series = series_document(together.series, together.names, together.text, with_budget=with_budget)
    print(json.dumps({"traces": traces, "series": series}, indent=1, allow_nan=False))


def _label(name: str) -> str:
    """The beginning of a row, as wide as the widest in the language spoken."""
    wide = max(len(say(each)) for each in ("pack breakaway", "pack sliding"))
    return f"  {say(name):<{wide}}  "


def _table_rows(one: Analysed, unit: str, *, with_budget: bool) -> list[str]:
    from rig.words import sentences as wording
    from rig.words.verdicts import verdict_text

    result = one.result
    if result is None:
        return []
    bound = say("at least ") if result.at_least else ""
    rows = [one.path, f"{_label('pack breakaway')}{say('none found')}"]
    if result.breakaway is not None:
        reading = result.breakaway
        angle = "" if reading.angle_deg is None else say(" and {angle} deg", angle=in_language(f"{reading.angle_deg:.1f}"))
        shown = wording.torque_with_u(reading.torque_nm, reading.budget.expanded_u_nm, unit)
        read = say(
            "{torque} (this pull) at {time} s{angle}", torque=bound + shown, time=in_language(f"{reading.time_s:.3f}"), angle=angle
        )
        rows[-1] = f"{_label('pack breakaway')}{read}" + ("" if result.direction == 1 else say(", pulled the other way"))
        if reading.first_step_nm is not None:
            rows.append(
                _label("first step") + say("{torque}, not taken for breakaway", torque=wording.torque(reading.first_step_nm, unit))
            )
    elif result.held_nothing:
        rows[-1] += say(": nothing held, the unit turns freely")
    rows.append(f"{_label('pack sliding')}{say('none found')}")
    if result.sliding is not None:
        sliding = result.sliding
        travel = in_language(f"{sliding.to_s - sliding.from_s:.2f} s") + (
            "" if sliding.travel_deg is None else in_language(f", {sliding.travel_deg:.1f} deg")
        )
        shown = wording.torque_with_u(sliding.torque_nm, sliding.budget.expanded_u_nm, unit)
        rows[-1] = _label("pack sliding") + say("{torque} (this pull) over {travel}", torque=bound + shown, travel=travel)
    rows.append(f"{_label('chatter')}{wording.chatter_text(result.chatter, unit)}")
    if one.verdict is not None:
        rows.append(
            _label(wording.STATE_WORD[one.verdict.state]) + say("the unit: {verdict}", verdict=verdict_text(one.verdict, unit))
        )
    rows += [f"{_label('quality')}{wording.quality_text(flag, unit)}" for flag in result.quality]
    rows += [f"{_label('note')}{retold(note)}" for note in (*one.notes, *wording.reading_notes(result, unit))]
    if with_budget:
        for name, figures in ((say("pack breakaway"), result.breakaway), (say("pack sliding"), result.sliding)):
            rows += [] if figures is None else wording.budget_lines(name, figures.budget, unit)
        if one.verdict is not None and one.verdict.budget is not None:
            rows += wording.budget_lines(say("verdict on the unit"), one.verdict.budget, unit)
    return rows
