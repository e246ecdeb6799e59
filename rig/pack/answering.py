"""One pack sheet, from its files to its answer."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.pack.answer import Answer, answer_sheet
from analysis.pack.arrangement import Layout
from analysis.pack.parts import Shelf
from drivers.opening import DOCUMENT, read_bytes
from rig.errors import DocumentError
from rig.files.document import values_of
from rig.pack.answers import answer_document
from rig.pack.pack_sheet import ReadTrace, TraceReading, pack_of, read_pack_document
from rig.pack.shelf import read_shelf
from rig.pack.spec_card import read_spec_card

if TYPE_CHECKING:
    from analysis.pack.shop import ShopHistory
    from rig.calibration.sensor_in_use import SensorChoice


def answer(path: str | Path, spec: str | Path | None = None, shelf: str | Path | None = None) -> dict[str, Any]:
    """Answer one sheet: the JSON object of PACK.md 4.

    Parameters
    ----------
    path
        The pack sheet.
    spec, shelf
        In place of the ones it names.

    Raises
    ------
    BenchError
        One sentence: file, key, what to mend.
    """
    return answer_document(str(path), answer_files(path, spec, shelf))


OTHER_SHEETS = (("card", "a spec card"), ("shims", "a shelf"), ("refit", "a refit sheet"), ("device", "a device profile"))
"""Tables that tell another document from a pack sheet, which has [pack]."""


def _refuse_other_sheet(path: Path) -> None:
    """Say which document was given in place of a pack sheet; one that cannot be read is told of by its reader."""
    found = values_of(read_bytes(path, DOCUMENT), str(path), is_json=False)
    if "pack" in found:
        return
    for table, what in OTHER_SHEETS:
        if table in found:
            raise DocumentError(f"this is {what}", where=str(path), remedy="give the pack sheet (PACK.toml), which names it")


def answer_files(
    name: str | Path, spec: str | Path | None = None, shelf: str | Path | None = None, shop: ShopHistory | None = None
) -> Answer:
    """Read a sheet and what it names, and answer it as values; `shop` in place of priors. Raises BenchError."""
    path = Path(name)
    _refuse_other_sheet(path)
    document = read_pack_document(path).value
    card_path = Path(spec) if spec is not None else _named(document.pack.spec, path)
    if card_path is None:
        raise DocumentError("names no spec card", where=f"{path}, [pack]", remedy="add spec = 'SPEC.toml', or give --spec")
    card = read_spec_card(card_path).value.spec_card()
    shelf_path = Path(shelf) if shelf is not None else _named(document.pack.shelf, path)
    stock = Shelf() if shelf_path is None else read_shelf(shelf_path).value.shelf(shelf_path.parent)
    if card.layout is Layout.BLOCK and document.block is None:
        raise DocumentError(
            "has no [block], which the card's layout 'block' needs",
            where=str(path),
            remedy="add count, rate, free_length and fitted_length of the springs between the side gears",
        )
    return answer_sheet(pack_of(document, path, _trace_reader()), card, stock, shop)


def _named(name: str | None, path: Path) -> Path | None:
    return None if name is None else path.parent / name


def _trace_reader() -> ReadTrace:
    """Reads a trace as `platepull analyse` does, with the sensor of the settings."""
    chosen: list[SensorChoice] = []

    def read(path: Path) -> TraceReading:
        from rig.calibration.sensor_in_use import SensorChoice
        from rig.files.pull_file import read_recording
        from rig.settings import load_settings

        if not chosen:
            chosen.append(SensorChoice(date.today(), usual_u=load_settings().u))
        result = read_recording(path, chosen[0].of).result
        if result.held_nothing:
            return TraceReading(0.0, None)
        breakaway, sliding = result.breakaway, result.sliding
        return TraceReading(
            None if breakaway is None else breakaway.torque_nm,
            None if sliding is None else sliding.torque_nm,
            None if breakaway is None else breakaway.first_step_nm,
        )

    return read
