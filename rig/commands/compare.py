"""`platepull compare`: before against after, from files."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.errors import BenchError
from rig.commands._book import add_book
from rig.commands._options import unit_of
from rig.commands._reading import mapped, spread, told_of
from rig.errors import ArgumentError
from rig.words.language import say

if TYPE_CHECKING:
    from analysis.compare.comparison import Comparison
    from analysis.compare.conditions import Question, Refused
    from analysis.compare.curves import PullCurve
    from analysis.compare.pulls import ComparedPull
    from rig.calibration.sensor_in_use import SensorChoice
    from rig.settings import Settings

NAME = "compare"
HELP = "compare pulls before and after: chatter, torque, whether the two sides are alike"
REFUSED_STATUS = 4
QUESTIONS = ("additive", "oil", "plates", "temperature", "rest", "speed", "none")
PICTURES = (".png", ".svg", ".pdf")


@dataclass(frozen=True, slots=True)
class Task:
    """One file to read for a comparison."""

    path: str
    sensors: SensorChoice
    with_curve: bool


@dataclass(frozen=True, slots=True)
class Read:
    """One file that was read, or what is wrong with it."""

    pull: ComparedPull | None = None
    curve: PullCurve | None = None
    unit: str | None = None
    error: str | None = None


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    for side in ("before", "after"):
        parser.add_argument(
            f"--{side}",
            nargs="+",
            action="extend",
            required=True,
            metavar="TRACE",
            help=f"trace files of the pulls {side}, in the order of pulling; or a job and phase of the book, NUMBER:PHASE",
        )
    parser.add_argument("--question", choices=QUESTIONS, help="what may differ between the sides (what does differ)")
    parser.add_argument("--threshold", default="5%", metavar="T", help="a change below this counts as held (5%%)")
    parser.add_argument("--despite", default="", metavar="CODE,...", help="compare all the same, although these codes refuse")
    parser.add_argument("--u", metavar="U", help="uncertainty of the torque sensor, as for 'platepull analyse'")
    parser.add_argument("--certificate", metavar="C.json", help="calibration certificate of the torque sensor")
    parser.add_argument("--unit", metavar="UNIT", help="unit of torque in what is printed (N.m); JSON always speaks N.m")
    parser.add_argument("--json", action="store_true", help="print one JSON document (see 'platepull schema compare')")
    add_book(parser)
    parser.add_argument("--picture", metavar="FILE", help="write the comparison as one page: .png, .svg or .pdf")


def run(args: argparse.Namespace) -> int:
    """Compare; 2 if a file could not be read, 4 if the sides are not to be compared."""
    from analysis.compare.comparison import compare
    from rig.commands._chosen import sensor_choice
    from rig.settings import load_settings

    settings = load_settings()
    unit_of(args.unit)
    threshold = threshold_of(args.threshold)
    despite = despite_of(args.despite)
    picture = picture_path(args.picture)
    sensors = sensor_choice(args, settings)
    files = [spread(_from_book(names, args, settings)) for names in (args.before, args.after)]
    tasks = [Task(path, sensors, picture is not None) for side in files for path in side]
    with mapped(read_file, tasks) as outcomes:
        read = list(outcomes)
    errors = [one.error for one in read if one.error is not None]
    for error in errors:
        print(f"platepull compare: {error}", file=sys.stderr)
    if errors:
        return 2
    pulls = [one.pull for one in read if one.pull is not None]
    before, after = pulls[: len(files[0])], pulls[len(files[0]) :]
    windows = {one.unit for one in read if one.unit is not None}
    unit = unit_of(args.unit or settings.unit or (windows.pop() if len(windows) == 1 else None))
    comparison = compare(before, after, question=question_of(args.question), threshold=threshold, despite=despite)
    _print(comparison, unit, as_json=args.json)
    if not comparison.made:
        return REFUSED_STATUS
    if picture is not None:
        from rig.sheets.comparison import draw

        draw(comparison, {pull.fingerprint: one.curve for pull, one in zip(pulls, read, strict=True) if one.curve}, picture, unit)
    return 0


def _from_book(names: list[str], args: argparse.Namespace, settings: Settings) -> list[str]:
    """Names with a job's phase of the book (2026-0001:rebuilt) turned into the recordings of its pulls."""
    from rig.commands._book import open_book, series_of_book

    found: list[str] = []
    for name in names:
        asked = series_of_book(name)
        if asked is None or Path(name).exists():
            found.append(name)
            continue
        from rig.book.series_files import recordings_of

        with open_book(args, settings) as book:
            found += [str(path) for path in recordings_of(book, *asked)]
    return found


def read_file(task: Task) -> Read:
    """Read one file; what is wrong with it comes back as a sentence."""
    from rig.files.compared_pull import read_compared

    try:
        return Read(*read_compared(Path(task.path), task.sensors.of, with_curve=task.with_curve))
    except BenchError as error:
        return Read(error=told_of(task.path, error))
    except Exception as error:  # noqa: BLE001  a fault of ours is told with the file it came from
        return Read(
            error=say("{path}: not read by a fault of ours ({error}); report this with the file", path=task.path, error=repr(error))
        )


def question_of(text: str | None) -> Question | None:
    """The question that was asked."""
    from analysis.compare.conditions import Question

    return None if text is None else Question(text)


def threshold_of(text: str) -> float:
    """A threshold such as '5%' as a share. Raises ArgumentError.

    Without the sign a number from 1 on can only be meant in percent; below, nobody knows.
    """
    bare = text.strip().removesuffix("%").strip()
    try:
        share = float(bare.replace(",", ".")) / 100
    except ValueError:
        share = -1.0
    if not 0 < share < 1 or (share < 0.01 and bare == text.strip()):
        raise ArgumentError(f"'{text}' is not a threshold", where="--threshold", remedy="write it like '5%'")
    return share


def despite_of(text: str) -> list[Refused]:
    """The codes of `--despite`. Raises ArgumentError."""
    from analysis.compare.conditions import NEVER_OVERRIDDEN, Refused

    codes = [code for part in text.split(",") if (code := part.strip())]
    possible = [str(code) for code in Refused if code not in NEVER_OVERRIDDEN]
    for code in codes:
        if code in NEVER_OVERRIDDEN:
            raise ArgumentError(f"'{code}' cannot be overridden", where="--despite", remedy=f"these can: {', '.join(possible)}")
        if code not in possible:
            raise ArgumentError(f"there is no code '{code}'", where="--despite", remedy=f"use {', '.join(possible)}")
    return [Refused(code) for code in codes]


def picture_path(text: str | None) -> Path | None:
    """Where the picture goes. Raises ArgumentError where its ending is none that can be written."""
    if text is not None and Path(text).suffix.lower() not in PICTURES:
        raise ArgumentError(
            f"'{text}' is no picture that can be written", where="--picture", remedy=f"end it in {', '.join(PICTURES)}"
        )
    return None if text is None else Path(text)


def _print(comparison: Comparison, unit: str, *, as_json: bool) -> None:
    from rig.words.comparison import comparison_texts

    if not comparison.made:
        for line in comparison_texts(comparison, unit):
            print(f"platepull compare: {line}", file=sys.stderr)
    if as_json:
        from rig.files.comparison_json import comparison_document, finite

        print(json.dumps(finite(comparison_document(comparison)), indent=1, ensure_ascii=False, allow_nan=False))
    elif comparison.made:
        from rig.words.comparison_table import table_lines

        print("\n".join(table_lines(comparison, unit)))
