"""`platepull refit`: bearings, drag, backlash, fasteners and fill against the maker's page."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from analysis.errors import BenchError
from rig.commands import _bolts
from rig.errors import ArgumentError
from rig.words.language import in_language, say
from rig.words.retold import fault_text, retold

NAME = "refit"
HELP = "answer refit sheets: shims for bearing preload, drag, backlash, fasteners, fill"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("sheets", nargs="*", metavar="REFIT.toml", help="refit sheets, in order")
    parser.add_argument("--json", action="store_true", help="print a JSON array, an object a sheet")
    _bolts.add_options(parser)
    parser.add_argument("--template", action="store_true", help="print a sheet to fill in and end")


def run(args: argparse.Namespace) -> int:
    """Answer all sheets; the highest of 0 answered, 2 not readable, 4 stopped."""
    from rig.refit import answer, exit_status
    from rig.refit.words import ADVICE

    if args.template:
        from rig.refit.template import TEMPLATE

        print(TEMPLATE, end="")
        return 0
    if not args.sheets:
        raise ArgumentError("no sheet is named", where="REFIT.toml", remedy="name one, or print one to fill in with --template")
    if args.record is not None:
        return _bolts.record(args)
    answered: list[dict[str, Any]] = []
    status = 0
    for name in args.sheets:
        try:
            one = answer(name)
        except BenchError as error:
            print(f"platepull refit: {' '.join(fault_text(error).split())}", file=sys.stderr)
            status = max(status, 2)
            continue
        for hint in one["hints"]:
            print(f"platepull refit: {retold(hint)}", file=sys.stderr)
        answered.append(one)
        status = max(status, exit_status(one))
        if not args.json:
            print("\n".join(_rows(one)))
    if args.json:
        print(json.dumps(answered, indent=1, ensure_ascii=False, allow_nan=False))
    elif answered:
        print(say(ADVICE))
    return status


def _rows(one: dict[str, Any]) -> list[str]:
    """A sheet as lines: what stops it, what warns, then a sentence a part."""
    from rig.refit.answers import LISTS

    rows = [str(Path(one["refit"])) + (f", {one['unit']}" if one["unit"] else "")]
    rows += [f"  {say(problem['severity']):<5} {problem['where']}: {problem['text']}" for problem in one["problems"]]
    for name in LISTS:
        for entry in one[name]:
            rows.append(f"  {entry['text']}")
            if name == "fasteners":
                order = " ".join(map(str, entry["order"]))
                stages = ", ".join(in_language(f"{stage:.1f}") for stage in entry["stages_nm"])
                rows.append(say("    order {order}; passes at {stages} N.m", order=order, stages=stages))
    return rows
