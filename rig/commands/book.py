"""`platepull book`: the care of the job book as a whole."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rig.commands._book import add_book, add_json, add_who, open_book, the_clock, waiting_room, wants_json, who_of
from rig.errors import ArgumentError
from rig.words import counts
from rig.words.language import in_language, say
from rig.words.retold import retold

if TYPE_CHECKING:
    from rig.book.book import Book
    from rig.book.transfer import Counted
    from rig.book.trend import ChartPoint
    from rig.settings import Settings

NAME = "book"
HELP = "care of the job book: check, verify, back up, restore, rebuild, move"

NOT_SOUND_STATUS = 4


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The actions and their options."""
    add_book(parser)
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)
    texts = {
        "check": "is it sound, of which version, and where",
        "verify": "go through every chain, every table and every kept file: what was altered or is missing",
        "backup": "copy the book into a new file",
        "restore": "copy a backup into an empty book (--book)",
        "rebuild": "enter every recording below a folder into an empty book (--book)",
        "trend": "the bench over the jobs, as a control chart: scatter from pull to pull, zero, directions, what shims did",
        "move": "copy the book into another place, a file or a database; the old one stays as it is",
    }
    parsers = {name: actions.add_parser(name, help=text, description=text) for name, text in texts.items()}
    for one in parsers.values():
        add_book(one)
        add_json(one)
    parsers["verify"].add_argument("--job", metavar="NUMBER", help="this job only")
    parsers["verify"].add_argument("--head", metavar="HASH", help="a head from a sheet: where in the book it stands")
    parsers["backup"].add_argument("file", metavar="FILE", help="not there yet")
    parsers["restore"].add_argument("file", metavar="FILE", help="the backup")
    parsers["rebuild"].add_argument("folder", metavar="FOLDER", help="where the recordings are")
    parsers["rebuild"].add_argument(
        "--u", metavar="U", help="standard uncertainty of the torque sensor, such as '0.5 N.m' or '0.5%%'"
    )
    parsers["rebuild"].add_argument("--certificate", metavar="C.json", help="calibration certificate of the torque sensor")
    add_who(parsers["rebuild"])
    parsers["trend"].add_argument("--of", choices=(SCATTER, *LEVELS), default=SCATTER, help="which figure (scatter)")
    parsers["trend"].add_argument("--basis", choices=("breakaway", "sliding"), default="breakaway", help="which torque (breakaway)")
    parsers["trend"].add_argument("--sensor", metavar="TEXT", help="serial number or name of one sensor (all)")
    parsers["move"].add_argument("target", metavar="TARGET", help="a file that is not there yet, or postgresql://USER@HOST/NAME")


def run(args: argparse.Namespace) -> int:
    """Do the action."""
    from rig.settings import load_settings

    settings = load_settings()
    actions: dict[str, Callable[[Book, argparse.Namespace, Settings], int]] = {
        "check": _check,
        "verify": _verify,
        "backup": _backup,
        "restore": _restore,
        "rebuild": _rebuild,
        "move": _move,
        "trend": _trend,
    }
    with open_book(args, settings, begins=args.action in ("restore", "rebuild")) as book:
        return actions[args.action](book, args, settings)


def _tell(args: argparse.Namespace, document: dict[str, Any], text: str) -> None:
    print(json.dumps(document, indent=1, ensure_ascii=False) if wants_json(args) else text)


def _held(counted: Counted) -> str:
    return f"{counts.jobs(counted.jobs)}, {counts.entries(counted.events)}"


def _check(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.transfer import count
    from rig.book.versions import VERSION

    faults = book.faults()
    counted, waiting = count(book), waiting_room().all()
    document = {
        "sound": not faults,
        "faults": faults,
        "version": VERSION,
        "where": str(book.place),
        "kind": "file" if book.place.file is not None else "server",
        "jobs": counted.jobs,
        "events": counted.events,
        "waiting": [{"book": one.book, "job": one.job, "path": one.path} for one in waiting],
    }
    what = "; ".join(map(retold, faults))
    lines = [
        str(book.place),
        say("version {version}, {held}", version=VERSION, held=_held(counted)),
        say("NOT SOUND: {what} (restore a backup, or rebuild it from its recordings)", what=what) if faults else say("sound"),
        *(say("waits to be entered in job {job} of {book}: {path}", job=one.job, book=one.book, path=one.path) for one in waiting),
    ]
    _tell(args, document, "\n".join(lines))
    return 0 if not faults else NOT_SOUND_STATUS


def _verify(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.verify import find_head, verify

    if args.head is not None:
        found = find_head(book, args.head)
        text = say("this head stands nowhere in the book: the sheet is of another book, or the record was altered")
        if found is not None:
            text = say(
                "the head is entry {number} of job {job}, made by {who} at {at}",
                number=found.number,
                job=found.job,
                who=found.who,
                at=found.at,
            )
        where = None if found is None else {"job": found.job, "event": found.number, "at": found.at, "who": found.who}
        _tell(args, {"head": where}, text)
        return 0 if found is not None else NOT_SOUND_STATUS
    told = verify(book, args.job)
    lines = [f"{counts.entries(told.events)}, {counts.files(told.files)}"]
    for name, findings in (("altered: {what}", told.altered), ("missing: {what}", told.missing)):
        for one in findings:
            entry = say("entry {entry}", entry=one.event) if one.event is not None else say("table")
            place = ", ".join([say("job {job}", job=one.job), entry, *([str(one.file)] if one.file else [])])
            lines.append(say(name, what=f"{place}: {retold(one.what)}"))
    lines.append(say("all holds") if told.holds else say("NOT ALL HOLDS"))
    _tell(args, told.document(), "\n".join(lines))
    return 0 if told.holds else NOT_SOUND_STATUS


def _backup(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.transfer import back_up

    counted = back_up(book, Path(args.file), the_clock)
    _tell(
        args,
        {"file": args.file, "jobs": counted.jobs, "events": counted.events},
        say("{held} in {file}", held=_held(counted), file=args.file),
    )
    return 0


def _restore(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.transfer import restore

    counted = restore(book, Path(args.file), the_clock)
    text = say(
        "{held} from {file}; see 'platepull book verify' for the files",
        held=_held(counted),
        file=args.file,
    )
    _tell(args, {"jobs": counted.jobs, "events": counted.events}, text)
    return 0


def _rebuild(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.transfer import rebuild
    from rig.commands._chosen import sensor_choice

    rebuilt = rebuild(book, Path(args.folder), who_of(args, settings), sensor_choice(args, settings).of)
    for path, why in rebuilt.left_out:
        print(say("left out: {what}", what=retold(why) if str(path) in why else f"{path}: {retold(why)}"), file=sys.stderr)
    document = {
        "jobs": list(rebuilt.jobs),
        "pulls": rebuilt.pulls,
        "left_out": [{"file": str(path), "why": why} for path, why in rebuilt.left_out],
    }
    _tell(args, document, say("{pulls} in {jobs}", pulls=counts.pulls(rebuilt.pulls), jobs=counts.jobs(len(rebuilt.jobs))))
    return 0


def _trend(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from dataclasses import asdict

    from analysis.window import Basis
    from rig.book import knowledge
    from rig.book.trend import chart, level_chart

    basis = Basis(args.basis)
    if args.of == SCATTER:
        drawn = chart(knowledge.scatters(book, basis, sensors=[] if args.sensor is None else [args.sensor]))
        head = say("no job has repeats yet: two pulls one way in one state are the least")
        if drawn.centre is not None:
            degrees = counts.degrees_of_freedom(drawn.degrees_of_freedom)
            head = say(
                "scatter from pull to pull, {basis}: {share} % ({degrees})",
                basis=say(args.basis),
                share=in_language(f"{100 * drawn.centre:.1f}"),
                degrees=degrees,
            )
        rows = [_point_line(point) for point in drawn.points]
        _tell(args, {"of": args.of, "basis": args.basis} | asdict(drawn), "\n".join([head, *rows]))
        return 0
    if args.sensor is not None:
        raise ArgumentError("tells the scatter by sensor only", where="--sensor", remedy="leave it out")
    levels = {
        "zero": lambda: knowledge.zero_moves(book),
        "directions": lambda: knowledge.directions_apart(book, basis),
        "shims": lambda: knowledge.shims_did(knowledge.shop_history(book)),
    }[args.of]()
    found = level_chart(levels)
    words, unit, scale = LEVELS[args.of]
    head = say("{what}: {jobs}, too few for limits (five are the least)", what=say(words), jobs=counts.jobs(len(levels)))
    if found.centre is not None and found.low is not None and found.high is not None:
        centre, low, high = (scale * value for value in (found.centre, found.low, found.high))
        head = say(
            "{what}: {centre} {unit}, limits {low} to {high}",
            what=say(words),
            centre=in_language(f"{centre:.3g}"),
            unit=unit,
            low=in_language(f"{low:.3g}"),
            high=in_language(f"{high:.3g}"),
        )
    lines = [
        f"{point.job:<10} {in_language(f'{scale * point.value:9.3g}')} {unit}  {point.n:>3}"
        + "".join(f"  {say(RULE_WORDS[r])}" for r in point.rules)
        for point in found.points
    ]
    _tell(args, {"of": args.of, "basis": args.basis} | asdict(found), "\n".join([head, *lines]))
    return 0


def _point_line(point: ChartPoint) -> str:
    low, high = (in_language(f"{100 * limit:4.1f}") for limit in (point.low, point.high))
    limits = say("{low} to {high} %", low=low, high=high)
    words = "".join(f"  {say(RULE_WORDS[rule])}" for rule in point.rules)
    return f"{point.job:<10} {in_language(f'{100 * point.relative:5.1f}')} %  {point.degrees_of_freedom:>3}  {limits}{words}"


SCATTER = "scatter"
LEVELS = {
    "zero": ("the zero moved within a pull, mean of a job", "N.m", 1.0),
    "directions": ("one direction reads above the other by", "%", 100.0),
    "shims": ("torque a mm of shim, as a share of the torque", "%/mm", 100.0),
}
"""Beside the scatter: what is charted, in which unit, and the factor to it."""

RULE_WORDS = {
    "beyond": "BEYOND its limits: look at vice, lever and sensor before the next job",
    "run": "one of eight in a row on one side: something has shifted",
    "trend": "one of six in a row that rise, or fall: something drifts",
}


def _move(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.book import Book
    from rig.book.place import Place
    from rig.book.transfer import copy_book

    with Book(Place.of(args.target), the_clock) as target:
        counted = copy_book(book, target)
        text = say(
            "{held} in {place}; now set 'book' in the settings",
            held=_held(counted),
            place=target.place,
        )
        _tell(args, {"where": str(target.place), "jobs": counted.jobs, "events": counted.events}, text)
    return 0
