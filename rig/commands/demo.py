"""`platepull demo FOLDER`: the demo pulls of an invented workshop, with what goes with them, to try things on."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from rig.words import counts
from rig.words.language import say

NAME = "demo"
HELP = "write the demo pulls (invented workshop), a calibration, a refit sheet and the sender's firmware into a folder"
SENDER = "sender"
NOT_DATA = ("__pycache__", "__init__.py", "make.py", "build")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="where they go; nothing that lies there is written over")


def run(args: argparse.Namespace) -> int:
    """Write what is packed with the program; say what to try on it."""
    from drivers.opening import ATTACHED, read_bytes
    from rig.errors import ArgumentError

    files = {**dict(_files(resources.files("recordings"))), **{f"{SENDER}/{name}": file for name, file in _sender()}}
    folder: Path = args.folder
    try:
        for name, packed in files.items():
            path, data = folder / name, packed.read_bytes()
            if path.exists():
                if read_bytes(path, ATTACHED) != data:
                    raise ArgumentError("there is another file of that name", where=str(path), remedy="choose an empty folder")
                continue
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
    except OSError as fault:
        raise ArgumentError(
            f"the demo cannot be written ({fault.strerror})", where=str(folder), remedy="check folder and disk"
        ) from fault
    print(say("{files} in {folder}. All of it is invented. Try:", files=counts.files(len(files)), folder=folder))
    print(f"  platepull analyse {folder / 'rebuilt_good.csv'} {folder / 'as_found_low.csv'}")
    print(f"  platepull replay {folder / 'chatter_new_plates.csv'} --terminal")
    print(f"  platepull calibrate {folder / 'calibration' / 'plan.toml'} --out {folder / 'certificate.json'}")
    print(f"  platepull refit {folder / 'refit' / 'REFIT.toml'}")
    return 0


def _sender() -> Iterator[tuple[str, Traversable]]:
    return _files(resources.files("drivers").joinpath("sender"))


def _files(place: Traversable, before: str = "") -> Iterator[tuple[str, Traversable]]:
    """Names below `place`, with what lies there."""
    for each in sorted(place.iterdir(), key=lambda each: each.name):
        if each.name in NOT_DATA:
            continue
        if each.is_dir():
            yield from _files(each, f"{before}{each.name}/")
        else:
            yield before + each.name, each
