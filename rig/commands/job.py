"""`platepull job`: one job of the book, from the complaint to the hand-over."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rig.commands import _sheets
from rig.commands._book import (
    LAST,
    add_book,
    add_json,
    add_who,
    book_name,
    enter_what_waits,
    is_begun,
    is_new,
    job_view,
    known_scatter_of,
    named_person,
    open_book,
    waiting_room,
    wants_json,
    who_of,
)
from rig.commands._job_pulls import add_pulls, look_around, note
from rig.words import counts
from rig.words.language import say, say_n
from rig.words.retold import retold

if TYPE_CHECKING:
    from rig.book.book import Book, Draft, JobLine
    from rig.settings import Settings

NAME = "job"
HELP = "the job book: open a job, enter what is done, see what is still wanted, close it"

FILES = {
    "pull": "TRACE.csv",
    "pack": "PACK.toml",
    "refit": "REFIT.toml",
    "spec": "SPEC.toml",
    "photo": "FILE",
    "certificate": "C.json",
}
"""What is entered as files, with how they are named in the help."""

NOT_WHOLE_STATUS = 4
"""The job was exported, but its record does not hold."""

WHAT_WORDS = {
    "pull": "pull",
    "pack": "pack sheet",
    "refit": "refit sheet",
    "spec": "spec card",
    "photo": "photo",
    "certificate": "certificate",
    "part": "part",
    "oil": "oil",
    "note": "note",
}
"""What was entered, in words."""

_WHAT_HELP = {
    "pull": "recordings; the same bytes twice are one pull",
    "pack": "a pack sheet, as the pack is fitted now",
    "refit": "a refit sheet: bearings, drag, backlash, fasteners, fill",
    "spec": "the spec card, the maker's page",
    "photo": "a photo or another file; it stays where it lies",
    "certificate": "a calibration certificate",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The actions and their options."""
    _common(parser)
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)

    new = _action(actions, "new", "open a job and print its number")
    new.add_argument("--unit-id", metavar="TEXT", required=True, help="what is on the bench: type and number of the unit")
    new.add_argument("--customer", metavar="TEXT", help="whose it is")
    new.add_argument("--complaint", metavar="TEXT", help="in the customer's words: which turn, hot or cold, last oil and additive")
    new.add_argument("--spec", metavar="SPEC.toml", help="the spec card, the maker's page")
    new.add_argument("--steps", metavar="STEPS.toml", help="a list of steps in place of our own")

    _add_what(_action(actions, "add", "enter something"))

    listing = _action(actions, "list", "the jobs, newest first")
    listing.add_argument("--search", metavar="TEXT", help="only jobs that hold these words")
    listing.add_argument("--open", action="store_true", help="only jobs that are not closed")

    show = _action(actions, "show", "what a job holds and what is wanted next")
    show.add_argument("number", metavar="NUMBER", nargs="?", default="last", help="of the job (the last one)")

    step = _action(actions, "step", "mark a step as done; one that cannot be undone is refused while a need is missing")
    step.add_argument("number", metavar="NUMBER", help="of the job, or 'last'")
    step.add_argument("step", metavar="STEP", help="its key, as 'job show' lists them")
    step.add_argument("--done", action="store_true", help="it is done (needs not be said)")
    step.add_argument("--although", metavar="REASON", help="done although a need is missing; stays visible for good")
    step.add_argument(
        "--acknowledge", action="append", default=[], metavar="CODE", help="acknowledge by name (--who): chatter_not_assessable"
    )

    export = _action(actions, "export", "the job as a folder for other programs: JSON, files, CSV tables, Parquet of all samples")
    export.add_argument("number", metavar="NUMBER", help="of the job, or 'last'")
    export.add_argument("--out", metavar="FOLDER", required=True, help="not there yet")

    taking = _action(actions, "import", "take an exported job into this book, with number, entries and head as they are")
    taking.add_argument("folder", metavar="FOLDER", help="of an export; its files stay there")

    strike = _action(actions, "strike", "let an entry not count; it stays visible (striking a strike lets it count again)")
    strike.add_argument("number", metavar="NUMBER", help="of the job, or 'last'")
    strike.add_argument("entry", metavar="ENTRY", type=int, help="number of the entry")
    strike.add_argument("--why", metavar="TEXT", required=True, help="the reason")

    _sheets.add_actions(lambda name, text: _action(actions, name, text))

    close = _action(actions, "close", "the unit is handed over")
    close.add_argument("number", metavar="NUMBER", help="of the job, or 'last'")


def _common(parser: argparse.ArgumentParser) -> None:
    add_book(parser)
    add_who(parser)
    add_json(parser)


def _action(actions: argparse._SubParsersAction[argparse.ArgumentParser], name: str, text: str) -> argparse.ArgumentParser:
    parser = actions.add_parser(name, help=text, description=text)
    _common(parser)
    return parser


def _add_what(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("number", metavar="NUMBER", help="of the job, or 'last'")
    kinds = parser.add_subparsers(dest="what", metavar="WHAT", required=True)
    for what, name in FILES.items():
        kind = _action(kinds, what, _WHAT_HELP[what])
        kind.add_argument("files", metavar=name, nargs="+" if what in ("pull", "photo") else 1, help=_WHAT_HELP[what])
        if what == "pull":
            kind.add_argument("--u", metavar="U", help="standard uncertainty of the torque sensor, such as '0.5 N.m' or '0.5%%'")
            kind.add_argument("--certificate", metavar="C.json", help="calibration certificate of the torque sensor")
    part = _action(kinds, "part", "a part that was fitted")
    part.add_argument("text", metavar="TEXT", help="what, number, how many")
    part.add_argument("--single-use", action="store_true", help="may be fitted once only")
    part.add_argument("--batch", metavar="TEXT", help="batch or lot")
    oil = _action(kinds, "oil", "the service oil, as the pulls are to have it")
    oil.add_argument("text", metavar="TEXT", help="make and grade")
    oil.add_argument("--volume", metavar="V", help="filled, such as '2.0 l'")
    oil.add_argument("--additive", metavar="TEXT", help="friction modifier; none where there is none")
    oil.add_argument("--dose", metavar="V", help="of the additive, such as '80 ml' or '4 %%'")
    note = _action(kinds, "note", "a note")
    note.add_argument("text", metavar="TEXT", help="what is to be remembered")


def run(args: argparse.Namespace) -> int:
    """Do the action."""
    from rig.book.place import Place
    from rig.settings import load_settings

    settings = load_settings()
    actions: dict[str, Callable[[Book, argparse.Namespace, Settings], int]] = {
        "new": _new,
        "add": _add,
        "list": _list,
        "show": _show,
        "step": _step,
        "strike": _strike,
        "export": _export,
        "import": _import,
        "close": _close,
        "sheet": _sheets.print_sheet,
        "label": _sheets.print_label,
    }
    if args.action == "list" and not is_begun(args, settings):
        return _told_list([], args)
    begins = args.action in ("new", "import")
    new = begins and is_new(Place.of(book_name(args, settings)))
    with open_book(args, settings, begins=begins) as book:
        if getattr(args, "number", None) == LAST:
            args.number = book.last_job()
        if args.action in ("new", "add", "step", "strike", "close"):  # looking writes nothing
            enter_what_waits(book)
        elif waiting := len(waiting_room().of(str(book.place))):
            note(
                say_n(
                    "{n} recording waits to be entered; the next 'platepull job add' does it",
                    "{n} recordings wait to be entered; the next 'platepull job add' does it",
                    waiting,
                )
            )
        status = actions[args.action](book, args, settings)
        if new:
            note(say("a new job book: {place}", place=book.place))
        return status


# -- entering ---------------------------------------------------------------------------------------------------------------------


def _new(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.entries import spec_draft
    from rig.book.opening import open_job

    spec = None if args.spec is None else spec_draft(Path(args.spec))  # read before a number is handed out
    record = open_job(
        book,
        who_of(args, settings),
        unit=args.unit_id,
        customer=args.customer,
        complaint=args.complaint,
        spec=spec,
        steps=None if args.steps is None else Path(args.steps),
    )
    print(json.dumps({"job": record.job}) if wants_json(args) else record.job)
    return 0


def _add(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    who = who_of(args, settings)
    entered: list[int] = []
    if args.what == "pull":
        status = add_pulls(book, args, settings, who, entered)
    else:
        status = 0
        entered += [_enter(book, args.number, who, draft) for draft in _drafts(book, args)]
    if wants_json(args):
        print(json.dumps({"job": args.number, "entries": entered}))
    else:
        print(
            *(
                say("job {number}: entry {entry}, {what}", number=args.number, entry=entry, what=say(WHAT_WORDS[args.what]))
                for entry in entered
            ),
            sep="\n",
            end="\n" if entered else "",
        )
    if args.what not in ("pull", "note", "photo", "certificate") and not wants_json(args):
        _say_next(book, args.number, settings)
    return status


def _enter(book: Book, number: str, who: str, draft: Draft) -> int:
    record = book.append(number, who, lambda _: draft)
    look_around(record)
    return record.events


def _drafts(book: Book, args: argparse.Namespace) -> list[Draft]:
    from rig.book import entries
    from rig.book.events import Kind

    if args.what in ("part", "oil", "note"):
        names = {"part": ("single_use", "batch"), "oil": ("volume", "additive", "dose"), "note": ()}[args.what]
        return [entries.text_draft(args.what, args.text, **{name: getattr(args, name, None) for name in names})]
    if args.what == "pack":
        from rig.book.look import whole_card

        card = whole_card(book, book.record(args.number))
        return [entries.pack_draft(Path(name), card) for name in args.files]
    readers = {"refit": entries.refit_draft, "spec": entries.spec_draft}
    if args.what in readers:
        return [readers[args.what](Path(name)) for name in args.files]
    return [entries.file_draft(Kind(args.what), Path(name)) for name in args.files]


def _step(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.marking import mark_step

    who = named_person(args, settings) if args.acknowledge else who_of(args, settings)
    known = known_scatter_of(book, book.record(args.number), settings)
    record, missing = mark_step(
        book, args.number, args.step, who, although=args.although, acknowledged=args.acknowledge, known=known
    )
    if wants_json(args):
        print(json.dumps({"job": record.job, "entry": record.events, "step": args.step}))
        return 0
    look_around(record)
    print(
        say("job {job}: entry {events}, {step} is done", job=record.job, events=record.events, step=args.step)
        + (say(", although: {although}", although=args.although) if missing and args.although else "")
    )
    for one in missing:
        note(say("  missing: {what}", what=one.text))
    _say_next(book, args.number, settings)
    return 0


def _strike(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.marking import strike

    record = strike(book, args.number, args.entry, args.why, who_of(args, settings))
    if wants_json(args):
        print(json.dumps({"job": record.job, "entry": record.events, "struck": args.entry}))
    else:
        print(
            say("job {job}: entry {entry} does not count (entry {events})", job=record.job, entry=args.entry, events=record.events)
        )
    return 0


def _close(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.gates import step_name
    from rig.book.marking import close

    record = close(book, args.number, who_of(args, settings))
    if wants_json(args):
        print(json.dumps({"job": record.job, "closed_at": record.closed_at}))
    else:
        print(say("job {job} is closed", job=record.job))
    open_steps = [step for step in record.steps if step.one_way and record.done(step.key) is None]
    if open_steps:
        warning = say("NOT DONE when it was closed: {steps}", steps=", ".join(step.key for step in open_steps))
        print(warning, file=sys.stderr if wants_json(args) else sys.stdout)
    for step in open_steps:
        note(say("  not marked as done: {key}, {name}", key=step.key, name=step_name(step)))
    return 0


# -- looking ----------------------------------------------------------------------------------------------------------------------


def _list(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    return _told_list(book.jobs(args.search, open_only=args.open), args)


def _told_list(lines: Sequence[JobLine], args: argparse.Namespace) -> int:
    from rig.book.documents import line_document

    if wants_json(args):
        print(json.dumps([line_document(line) for line in lines], indent=1, ensure_ascii=False))
        return 0
    for line in lines:
        closed = say("open") if line.closed_at is None else say("closed {day}", day=line.closed_at[:10])
        print(f"{line.job:<10} {line.opened_at[:10]}  {closed:<23} {line.unit}" + (f"  ({line.customer})" if line.customer else ""))
    if not lines:
        note(say("no job with these words") if args.search else say("no job yet: platepull job new --unit-id TEXT"))
    return 0


def _show(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.documents import job_document
    from rig.book.page import page_lines, unit_of_job

    view = job_view(book, args.number, settings)
    if wants_json(args):
        print(json.dumps(job_document(view), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print("\n".join(page_lines(view, unit_of_job(view, settings.unit))))
    return 0


def _export(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.export import export_job

    exported = export_job(book, job_view(book, args.number, settings), Path(args.out))
    for line in (*exported.amiss, *exported.left_out):
        note(retold(line))
    if wants_json(args):
        told = {"amiss": list(exported.amiss), "left_out": list(exported.left_out)}
        document = {"job": args.number, "folder": str(exported.folder), "files": exported.files, **told}
        print(json.dumps(document, ensure_ascii=False))
    else:
        print(
            say(
                "job {job} is in {folder}, with {files}",
                job=args.number,
                folder=exported.folder,
                files=counts.files(exported.files),
            )
        )
    return NOT_WHOLE_STATUS if exported.amiss else 0


def _import(book: Book, args: argparse.Namespace, settings: Settings) -> int:
    from rig.book.export import import_job

    record = import_job(book, Path(args.folder))
    text = say(
        "job {job} is in the book, {entries}, head {head}", job=record.job, entries=counts.entries(record.events), head=record.head
    )
    print(json.dumps({"job": record.job, "events": record.events, "head": record.head}) if wants_json(args) else text)
    return 0


def _say_next(book: Book, number: str, settings: Settings) -> None:
    from rig.book.page import next_lines

    print("\n".join(next_lines(job_view(book, number, settings))))
