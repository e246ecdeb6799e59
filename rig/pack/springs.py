"""A cup spring in a document, and its measured curve."""

from __future__ import annotations

import csv
import io
from itertools import pairwise
from pathlib import Path

from analysis.errors import BenchError
from analysis.pack.parts import CupSpring
from analysis.units import ColumnHeader, Quantity, from_si, scale_to_si
from drivers.opening import POINTS, read_text
from rig.errors import DocumentError
from rig.files.fields import LengthMm, Name, OneOrMany, Open, Refusal, Words

CURVE_ROWS_LEAST = 3
"""Fewer points are no curve."""


class SpringDimensions(Open, frozen=True):
    """Dimensions of a cup spring."""

    id: Name
    outer_diameter: LengthMm
    inner_diameter: LengthMm
    thickness: LengthMm
    free_height: OneOrMany[LengthMm]
    thickness_before_flats: LengthMm | None = None
    curve: str | None = None
    condition: Words = Words("")

    def __post_init__(self) -> None:
        """What no spring can have."""
        if not self.free_height:
            raise Refusal("free_height", "is empty", LengthMm.EXPECTED)
        for key in ("outer_diameter", "inner_diameter", "thickness"):
            if getattr(self, key) <= 0.0:
                raise Refusal(key, "is nought", LengthMm.EXPECTED)
        if self.thickness_before_flats is not None and self.thickness_before_flats < self.thickness:
            raise Refusal("thickness_before_flats", "is less than 'thickness'", "the thickness before the flats were ground on")

    def spring(self, folder: Path) -> CupSpring:
        """As the analysis takes it."""
        return CupSpring(
            name=str(self.id),
            outer_diameter_mm=float(self.outer_diameter),
            inner_diameter_mm=float(self.inner_diameter),
            thickness_mm=float(self.thickness),
            free_height_mm=sum(self.free_height) / len(self.free_height),
            thickness_before_flats_mm=self.thickness_before_flats,
            curve=None if self.curve is None else read_curve(folder / self.curve),
            told=told_of(str(self.condition)),
        )


TOLD = ("cracked", "blue", "bare")
"""What the eye sees on a plate or spring that is not to be fitted again, in the words of the bench."""


def told_of(condition: str) -> tuple[str, ...]:
    """The words of `TOLD` that stand in a remark."""
    return tuple(word for word in TOLD if word in condition.lower())


def read_curve(path: Path) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """A measured load-deflection curve: columns `deflection [mm]` and `load [N]`, closing. Raises FileError or DocumentError."""
    text = read_text(path, POINTS)
    try:
        rows = [row for row in csv.reader(io.StringIO(text, newline="")) if any(cell.strip() for cell in row)]
    except csv.Error as fault:
        raise DocumentError(f"is not CSV ({fault})", where=str(path), remedy="check the file") from fault
    headers = [ColumnHeader.parse(cell) for cell in rows[0]] if rows else []
    deflection = _column(rows, headers, "deflection", "length", "mm", path)
    load = _column(rows, headers, "load", "force", "N", path)
    if len(deflection) < CURVE_ROWS_LEAST:
        raise DocumentError(f"the curve has {len(deflection)} rows", where=str(path), remedy="measure more points")
    if any(b <= a for a, b in pairwise(deflection)):
        raise DocumentError("the deflection does not rise from row to row", where=str(path), remedy="keep the closing half only")
    if deflection[0] > 0.0:
        deflection, load = (0.0, *deflection), (0.0, *load)
    return deflection, load


def _column(
    rows: list[list[str]], headers: list[ColumnHeader], name: str, quantity: Quantity, unit: str, path: Path
) -> tuple[float, ...]:
    place = next((n for n, header in enumerate(headers) if header.quantity == name), None)
    if place is None:
        raise DocumentError(f"has no column '{name} [{unit}]'", where=str(path), remedy="begin with deflection [mm],load [N]")
    try:
        scale = scale_to_si(headers[place].unit or unit, quantity)
        return tuple(from_si(float(row[place]) * scale.factor, unit, quantity) for row in rows[1:])
    except (ValueError, IndexError, BenchError) as fault:
        raise DocumentError(f"a cell of column '{name}' is no number", where=str(path), remedy="check the file") from fault
