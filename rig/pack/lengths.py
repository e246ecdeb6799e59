"""The lengths of a pack sheet as fields to be filled, and filled fields back into its file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import tomlkit

from analysis.pack.plausible import OFF_THE_REST_MM, PLATE_MM, SHIM_MM
from drivers.errors import FileError
from drivers.opening import DOCUMENT, read_text
from rig.errors import DocumentError
from rig.files.atomic import write_whole
from rig.files.document import from_values, values_of
from rig.files.fields import LengthMm
from rig.gauge.fields import Entered, Field, FieldList
from rig.pack.pack_sheet import PackDocument, PlateTable, SideTable, read_pack_document
from rig.pack.springs import SpringDimensions
from rig.words.language import say

Key = tuple[str | int, ...]
Known = Sequence[LengthMm] | LengthMm | None

TRACK_POINTS: Final = 4
"""Places on the track of a plate: two at least, better four (TRADE.md 3.1)."""
FLATNESS_MM: Final = (0.0, 1.0)
SPRING_THICKNESS_MM: Final = (0.4, 8.0)
SPRING_HEIGHT_MM: Final = (0.8, 20.0)
STACK_MM: Final = (2.0, 100.0)
DEPTH_MM: Final = (0.0, 300.0)
BLOCK_MM: Final = (5.0, 200.0)
"""What such a length can be in this trade, widely (common practice, no source): a slipped point or inch for mm lies beyond."""

SPACES: Final = {
    "per_side": (("left", "case_depth"), ("left", "gear_height"), ("right", "case_depth"), ("right", "gear_height")),
    "across": (("case_depth_1",), ("case_depth_2",), ("overlap",), ("centre",)),
    "cover": (("edge_to_plate",), ("cover_boss",)),
}
"""The depths that each form of [space] needs."""


def fields_of(document: PackDocument) -> FieldList:
    """Every length that a technician measures for this sheet, part after part, with what stands in it already."""
    found = list(_fields(document))
    values = tuple(None if known is None else Entered(float(known), known.text, new=False) for _, known in found)
    return FieldList.of(tuple(field for field, _ in found), values)


def _fields(document: PackDocument) -> Iterator[tuple[Field, LengthMm | None]]:
    for number, plate in enumerate(document.plates):
        yield from _plate_fields(number, plate)
    for number, spring in enumerate(document.springs):
        yield from _spring_fields(number, spring)
    for name, side in (("left", document.left), ("right", document.right)):
        yield from _side_fields(name, side, heights=not document.plates)
    if document.space is not None:
        for path in SPACES[document.space.form]:
            holder: Any = document.space
            for step in path[:-1]:
                holder = getattr(holder, step)
            name = {"left": say("left") + ", ", "right": say("right") + ", "}.get(path[0], "") + say(path[-1].replace("_", " "))
            yield _field(("space", *path), name, say("space"), DEPTH_MM), getattr(holder, path[-1])
    if document.block is not None:
        for key in ("free_length", "fitted_length"):
            yield _field(("block", key), say(key.replace("_", " ")), say("springs"), BLOCK_MM), getattr(document.block, key)


def _plate_fields(number: int, plate: PlateTable) -> Iterator[tuple[Field, LengthMm | None]]:
    group = f"{plate.id}  {say(plate.kind)}"
    for point in range(max(TRACK_POINTS, len(plate.thickness))):
        known = plate.thickness[point] if point < len(plate.thickness) else None
        key: Key = ("plates", number, "thickness", point)
        name = say("track {n}", n=point + 1)
        yield _field(key, name, group, PLATE_MM, alike=str(plate.id), alike_mm=OFF_THE_REST_MM), known
    yield _field(("plates", number, "unworn"), say("unworn"), group, PLATE_MM), plate.unworn
    yield _field(("plates", number, "flatness"), say("flatness"), group, FLATNESS_MM), plate.flatness


def _spring_fields(number: int, spring: SpringDimensions) -> Iterator[tuple[Field, LengthMm | None]]:
    group = f"{spring.id}  {say('spring')}"
    yield _field(("springs", number, "thickness"), say("thickness"), group, SPRING_THICKNESS_MM), spring.thickness
    many = len(spring.free_height) > 1
    for place, height in enumerate(spring.free_height):
        name = say("free height") + (f" {place + 1}" if many else "")
        yield _field(("springs", number, "free_height", place), name, group, SPRING_HEIGHT_MM), height


def _side_fields(name: str, side: SideTable, *, heights: bool) -> Iterator[tuple[Field, LengthMm | None]]:
    group = say("left") if name == "left" else say("right")
    if heights or side.stack_height is not None:
        yield _field((name, "stack_height"), say("stack height"), group, STACK_MM), side.stack_height
    for place, shim in enumerate(side.shims or ()):
        yield _field((name, "shims", place), say("shim {n}", n=place + 1), group, SHIM_MM), shim


def _field(key: Key, name: str, group: str, bounds_mm: tuple[float, float], *, alike: str = "", alike_mm: float = 0.0) -> Field:
    return Field(key=key, name=name, group=group, low_mm=bounds_mm[0], high_mm=bounds_mm[1], alike=alike, alike_mm=alike_mm)


def read_fields(path: Path) -> tuple[PackDocument, FieldList]:
    """A pack sheet and its fields. Raises FileError or DocumentError."""
    if path.suffix.lower() == ".json":
        raise DocumentError("is JSON; lengths are entered into a sheet in TOML", where=str(path), remedy="write it as PACK.toml")
    document = read_pack_document(path).value
    return document, fields_of(document)


def with_lengths(text: str, lengths: Mapping[Key, Entered]) -> str:
    """The text of a sheet with these lengths in it; everything else, remarks too, stays as it is."""
    document = tomlkit.parse(text)
    for key in sorted(lengths, key=lambda one: [str(step).zfill(4) for step in one]):
        *steps, last = key
        holder: Any = document
        in_list = isinstance(last, int)
        for step in steps[:-1] if in_list else steps:
            holder = holder[step]
        if in_list:
            _put_in_list(holder, str(steps[-1]), last, lengths[key].text)
        else:
            holder[last] = lengths[key].text
    return tomlkit.dumps(document)


def _put_in_list(table: Any, name: str, place: int | str, value: str) -> None:
    """A value at its place of a list; one that stood without brackets becomes a list, and a gap is closed up."""
    known = table.get(name)
    if known is None or isinstance(known, str):
        table[name] = tomlkit.array() if known is None else tomlkit.item([str(known)])
        known = table[name]
    if int(place) < len(known):
        known[int(place)] = value
    else:
        known.append(value)


def write_lengths(path: Path, lengths: Mapping[Key, Entered]) -> None:
    """Write lengths into a sheet, whole or not at all. Raises FileError or DocumentError; the sheet is then as it was."""
    text = with_lengths(read_text(path, DOCUMENT), lengths)
    from_values(values_of(text.encode(), str(path), is_json=False), PackDocument, str(path))
    try:
        write_whole(path, text)
    except OSError as fault:
        raise FileError(
            f"could not be written ({fault.strerror})", where=str(path), remedy="check that the folder may be written to"
        ) from fault
