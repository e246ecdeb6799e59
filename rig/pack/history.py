"""A series that was pulled, as a try in the history of a pack sheet: which stack gave which result."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit

from analysis.units import in_unit
from drivers.errors import FileError
from drivers.opening import DOCUMENT, read_text
from rig.errors import DocumentError
from rig.files.atomic import write_whole
from rig.files.document import from_values, values_of
from rig.pack.pack_sheet import PackDocument


@dataclass(frozen=True, slots=True)
class Tried:
    """What a series read, pull by pull, N.m, 0 where nothing held; "" for what was not stated: then the sheet's counts."""

    note: str
    breakaway_nm: tuple[float, ...]
    sliding_nm: tuple[float, ...]
    unit: str
    arrangement: str = ""
    plate_state: str = ""
    closure: str = ""


def with_series(text: str, tried: Tried, path: str) -> str:
    """The text of a sheet with this series as the newest of its history, on the shims that stand in it as fitted now.

    The oil is that of the sheet: its words are those that friction is known for. Raises DocumentError where the series stands in
    the history already.
    """
    document = tomlkit.parse(text)
    entry = tomlkit.table()
    entry["note"] = tried.note
    for name in ("arrangement", "plate_state", "closure"):
        if stated := getattr(tried, name):
            entry[name] = stated
    for side in ("left", "right"):
        fitted: Any = document.get(side, {}).get("shims", [])
        entry.append(tomlkit.key([side, "shims"]), [fitted] if isinstance(fitted, str) else list(fitted))
    for name, values in (("breakaway", tried.breakaway_nm), ("sliding", tried.sliding_nm)):
        if values:
            entry[name] = _readings(values, tried.unit)
    history = document.get("history")
    if history is None:
        document["history"] = history = tomlkit.aot()
    if any(known.get("note") == tried.note and known.get("breakaway") == entry.get("breakaway") for known in history):
        raise DocumentError("this series stands in its history already", where=path, remedy="pull anew, or change it by hand")
    history.append(entry)
    return tomlkit.dumps(document)


def _readings(values_nm: Sequence[float], unit: str) -> list[str]:
    return [reading_text(value, unit) for value in values_nm]


def reading_text(torque_nm: float, unit: str) -> str:
    """A reading as a sheet has it: four figures and the unit, or 'free'."""
    return f"{in_unit(torque_nm, unit):#.4g} {unit}" if torque_nm else "free"


def enter_series(path: Path, tried: Tried) -> None:
    """Write a series into a sheet, whole or not at all. Raises FileError or DocumentError; the sheet is then as it was."""
    if path.suffix.lower() == ".json":
        raise DocumentError("is JSON; a series is entered into a sheet in TOML", where=str(path), remedy="write it as PACK.toml")
    text = with_series(read_text(path, DOCUMENT), tried, str(path))
    from_values(values_of(text.encode(), str(path), is_json=False), PackDocument, str(path))
    try:
        write_whole(path, text)
    except OSError as fault:
        raise FileError(
            f"could not be written ({fault.strerror})", where=str(path), remedy="check that the folder may be written to"
        ) from fault
