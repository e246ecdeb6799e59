"""`platepull schema [NAME]`: the JSON Schemas of what the program writes and reads."""

from __future__ import annotations

import argparse
from importlib import resources

NAME = "schema"
HELP = "print the JSON Schema of a document, such as 'analysis' (analyse --json) or 'metadata'"
ENDING = ".schema.json"


def schema_names() -> list[str]:
    """Names of all schemas there are."""
    return sorted(each.name.removesuffix(ENDING) for each in resources.files("rig").joinpath("schemas").iterdir())


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    names = schema_names()
    parser.add_argument("name", nargs="?", choices=names, metavar="NAME", help=f"one of {', '.join(names)}; none: the list of them")


def run(args: argparse.Namespace) -> int:
    """Print the schema, or the list of them."""
    if args.name is None:
        print(*schema_names(), sep="\n")
    else:
        print(resources.files("rig").joinpath("schemas", args.name + ENDING).read_text(encoding="utf-8"), end="")
    return 0
