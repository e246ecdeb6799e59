"""The points of a calibration as a CSV file, and the certificate that they and the plan make."""

from __future__ import annotations

import csv
import io
import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from analysis.bounds import TORQUE_MOST_NM
from analysis.errors import UnitError, quoted
from analysis.sensor.calibration import Point
from analysis.units import ColumnHeader, Quantity, Scale, scale_to_si
from drivers.opening import POINTS, read_text
from rig.calibration.plan import Load, Plan, Reference
from rig.errors import CertificateError
from rig.files.certificate import Certificate, certified

UP, DOWN = "up", "down"
_KNOWN = ("mass", "torque", "indication", "direction", "load", "series", "mounting")


def points_header(reference: Reference) -> str:
    """The header of a file of points."""
    load = "mass [kg]" if reference.unit == "kg" else "torque [N.m]"
    return f"{load},indication [N.m],direction,load,series,mounting\n"


def points_row(load: Load, size: float, indication_nm: float) -> str:
    """A point as a row of that file; `size` is the load that was on in fact."""
    way = UP if load.rising else DOWN
    return f"{size:.6g},{indication_nm:.6f},{load.direction},{way},{load.series},{load.mounting}\n"


def read_points(path: Path, reference: Reference) -> tuple[Point, ...]:
    """The points of a CSV file, in their order. Raises CertificateError, naming the row.

    Columns: `mass [kg]` or `torque [N.m]`, `indication [N.m]`; optional `direction` (1 or -1), `load` (up or down), `series`,
    `mounting`. What is not told is taken from the order: a zero after loads ends a series, and begins the next one too if no
    other zero does; a load above the one before it is reached from below; the direction is that of the indications.
    """
    rows = _rows(path, reference)
    if any("series" not in row for row in rows):
        rows = _in_series(rows)
    return tuple(point for _, run in itertools.groupby(rows, key=lambda row: row["series"]) for point in _run(list(run)))


def _rows(path: Path, reference: Reference) -> list[dict[str, Any]]:
    where = str(path)
    text = read_text(path, replace(POINTS, if_missing="name it in the plan, or take the points with --device"))
    columns, lines = _table(text, where)
    names = [column.quantity for column in columns]
    if "indication" not in names or ("mass" in names) == ("torque" in names):
        remedy = f"begin it with: {points_header(reference).strip()}"
        raise CertificateError("needs a column 'indication' and one of 'mass' and 'torque'", where=where, remedy=remedy)
    if "mass" in names and reference.arm is None:
        raise CertificateError("holds masses, but the plan has no [weights]", where=where, remedy="give the arm in [weights]")
    scales = {column.quantity: _scale(column, where) for column in columns if column.quantity in _KNOWN}
    rows = []
    for number, cells in lines:
        place = f"{where}, row {number}"
        if any(cell.strip() for cell in cells):
            if len(cells) < len(columns):
                raise CertificateError("the row is too short", where=place, remedy="fix or delete it")
            told = {name: cell.strip() for name, cell in zip(names, cells, strict=False) if name in _KNOWN and cell.strip()}
            rows.append(_row(told, scales, reference, place))
    return rows


def _table(text: str, where: str) -> tuple[list[ColumnHeader], list[tuple[int, list[str]]]]:
    """The header, and every row with the number of its line."""
    reader = csv.reader(io.StringIO(text, newline=""), skipinitialspace=True)
    try:
        header = [ColumnHeader.parse(cell) for cell in next(reader, [])]
        return header, [(reader.line_num, cells) for cells in reader]
    except csv.Error as fault:
        place = f"{where}, row {reader.line_num}"
        raise CertificateError(f"is not CSV ({fault})", where=place, remedy="fix or delete the row") from fault


def _scale(column: ColumnHeader, where: str) -> Scale:
    quantities: dict[str, Quantity] = {"mass": "mass", "torque": "torque", "indication": "torque"}
    if column.quantity not in quantities:
        return Scale(1.0)
    try:
        return scale_to_si(column.unit or "none", quantities[column.quantity])
    except UnitError as fault:
        remedy = f"write the column as '{column.quantity} [{'kg' if column.quantity == 'mass' else 'N.m'}]'"
        raise CertificateError(f"column '{column.quantity}': {fault.what}", where=where, remedy=remedy) from fault


def _row(told: dict[str, str], scales: dict[str, Scale], reference: Reference, where: str) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for name, text in told.items():
        if name == "load":
            if text not in (UP, DOWN):
                raise CertificateError(f"load {quoted(text)} is neither up nor down", where=where, remedy="write up or down")
            row["rising"] = text == UP
            continue
        try:
            value = float(text) * scales[name].factor
        except ValueError:
            raise CertificateError(f"{name} {quoted(text)} is not a number", where=where, remedy="fix or delete the row") from None
        whole = name in ("series", "mounting", "direction")
        if not abs(value) <= TORQUE_MOST_NM or (whole and value != int(value)) or (name == "direction" and value not in (1, -1)):
            raise CertificateError(f"{name} {quoted(text)} cannot be used", where=where, remedy="fix or delete the row")
        row[name] = int(value) if whole else value
    if "mass" in row:
        row["torque"] = reference.torque_nm(row.pop("mass"))
    if "torque" not in row or "indication" not in row:
        raise CertificateError("load or indication is missing", where=where, remedy="fix or delete the row")
    return row


def _in_series(rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    numbered: list[dict[str, Any]] = []
    series, loaded = 1, False
    for row, following in itertools.zip_longest(rows, rows[1:]):
        numbered.append({**row, "series": series})
        if row["torque"] != 0:
            loaded = True
        elif loaded and following is not None:
            series, loaded = series + 1, False
            if following["torque"] != 0:
                numbered.append({**row, "series": series})
    return numbered


def _run(rows: Sequence[dict[str, Any]]) -> list[Point]:
    """One series: loads with the sign of their direction, and how each was reached."""
    largest = max(rows, key=lambda row: abs(row["torque"]))
    turned = math.copysign(1, largest["indication"] - rows[0]["indication"])
    points: list[Point] = []
    for at, row in enumerate(rows):
        size = abs(row["torque"])
        direction = row.get("direction") or (math.copysign(1, row["torque"]) if row["torque"] < 0 else turned)
        rising = row.get("rising", at == 0 or size > abs(rows[at - 1]["torque"]))
        points.append(Point(direction * size if size else 0.0, row["indication"], rising, row["series"], row.get("mounting", 1)))
    return points


def certificate_of(plan: Plan) -> Certificate:
    """The certificate of the plan and its points. Raises CertificateError."""
    return certified(replace(plan.draft, points=read_points(plan.points, plan.reference)))
