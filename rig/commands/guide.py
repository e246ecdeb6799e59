"""`platepull guide [PAGE]`: the guide in the terminal."""

from __future__ import annotations

import argparse

NAME = "guide"
HELP = "print a page of the guide: building a bench, the first pull, reading a verdict and more"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    from rig.guide import PAGES

    parser.add_argument(
        "page", nargs="?", choices=PAGES, metavar="PAGE", help=f"one of {', '.join(PAGES)}; none: a list with titles"
    )


def run(args: argparse.Namespace) -> int:
    """Print the page, or the list of pages."""
    from rig.guide import PAGES, page, title

    if args.page is not None:
        print(page(args.page, args.language), end="")
        return 0
    for name in PAGES:
        print(f"{name:12} {title(name, args.language)}")
    return 0
