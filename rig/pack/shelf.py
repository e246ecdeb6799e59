"""The shelf (PACK.md 3): what is in stock."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from analysis.pack.parts import Plate, PlateKind, Shelf, Stocked
from rig.files.document import Read, read_document
from rig.files.fields import LengthMm, Name, OneOrMany, Open, between
from rig.pack.springs import SpringDimensions

Count = Annotated[int, between(0, 10_000)]
PLENTY = 99
"""A size without a count is kept in stock."""


class ShelfShim(Open, frozen=True):
    """One size."""

    thickness: LengthMm
    count: Count = PLENTY


class ShelfPlate(Open, frozen=True):
    """One kind of plate."""

    id: Name
    kind: Literal["inner", "outer"]
    thickness: OneOrMany[LengthMm]
    count: Count = PLENTY


class ShelfSpring(SpringDimensions, frozen=True):
    """One kind of spring."""

    count: Count = PLENTY


class ShelfDocument(Open, frozen=True):
    """A shelf as it stands in its file."""

    shims: tuple[ShelfShim, ...] = ()
    plates: tuple[ShelfPlate, ...] = ()
    springs: tuple[ShelfSpring, ...] = ()

    def shelf(self, folder: Path) -> Shelf:
        """As the analysis takes it; curves are looked up from `folder`."""
        return Shelf(
            shims=tuple(Stocked(one.count, shim_mm=float(one.thickness)) for one in self.shims if one.count),
            plates=tuple(
                Stocked(one.count, plate=Plate(one.id, PlateKind(one.kind), tuple(map(float, one.thickness))))
                for one in self.plates
                if one.count
            ),
            springs=tuple(Stocked(one.count, spring=one.spring(folder)) for one in self.springs if one.count),
        )


def read_shelf(path: Path) -> Read[ShelfDocument]:
    """Read a shelf. Raises FileError or DocumentError."""
    return read_document(path, ShelfDocument, "shelf", if_missing="name one with --shelf, or print one with --template shelf")
