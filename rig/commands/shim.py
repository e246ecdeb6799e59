"""`platepull shim`: from measured plates and pulls to the shim that lands in the window."""

from __future__ import annotations

import argparse
import json
import sys
from typing import TYPE_CHECKING, Any

from analysis.errors import BenchError
from rig.commands._book import add_book, open_book
from rig.errors import ArgumentError
from rig.words.language import say
from rig.words.retold import fault_text

if TYPE_CHECKING:
    from analysis.pack.shop import ShopHistory

NAME = "shim"
HELP = "answer pack sheets: which shims bring the torque into the window"

SHEETS = ("pack", "spec", "shelf")
UNREADABLE_STATUS = 2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("sheets", nargs="*", metavar="PACK.toml", help="pack sheets, in order")
    parser.add_argument("--spec", metavar="SPEC.toml", help="spec card in place of the one a sheet names")
    parser.add_argument("--shelf", metavar="SHELF.toml", help="shelf in place of the one a sheet names")
    parser.add_argument("--json", action="store_true", help="print a JSON array, an object a sheet (see 'platepull schema shim')")
    parser.add_argument(
        "--shop",
        action="store_true",
        help="start from what the job book tells of friction, scatter and shims in this shop, in place of the usual values",
    )
    add_book(parser)
    parser.add_argument("--template", choices=SHEETS, nargs="?", const="pack", help="print a document to fill in and end")


def run(args: argparse.Namespace) -> int:
    """Answer all sheets; the highest of 0 answered, 2 not readable, 4 not believed."""
    if args.template:
        from rig.pack.templates import TEMPLATES

        print(TEMPLATES[args.template], end="")
        return 0
    if not args.sheets:
        raise ArgumentError("no pack sheet is named", remedy="name one, or print one to fill in with --template")
    from rig.pack.answering import answer_files
    from rig.pack.answers import answer_document, exit_status
    from rig.pack.words import ADVICE, answer_lines

    shop = _shop_history(args) if args.shop else None
    documents: list[dict[str, Any]] = []
    status = 0
    for name in args.sheets:
        try:
            answered = answer_files(name, args.spec, args.shelf, shop)
        except BenchError as error:
            print(f"platepull shim: {' '.join(fault_text(error).split())}", file=sys.stderr)
            status = max(status, UNREADABLE_STATUS)
            continue
        except Exception as error:  # noqa: BLE001  a fault of ours in one sheet must not cost the answers of the others
            fault = say(
                "{path}: not answered by a fault of ours ({error}); report this with the file", path=name, error=repr(error)
            )
            print(f"platepull shim: {fault}", file=sys.stderr)
            status = max(status, UNREADABLE_STATUS)
            continue
        document = answer_document(name, answered)
        documents.append(document)
        status = max(status, exit_status(document))
        if not args.json:
            print("\n".join(answer_lines(name, answered)))
    if args.json:
        print(json.dumps(documents, indent=1, ensure_ascii=False, allow_nan=False))
    elif documents:
        print(say(ADVICE))
    return status


def _shop_history(args: argparse.Namespace) -> ShopHistory:
    """What the book tells. Raises BookError or BookUnreachableError."""
    from rig.book.knowledge import shop_history
    from rig.settings import load_settings

    with open_book(args, load_settings()) as book:
        return shop_history(book)
