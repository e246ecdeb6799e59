"""Trace files: CSV with its metadata file to Trace and TraceInfo, and back. Errors name file, row (as an editor counts) and fix.

The form: UTF-8, RFC 4180, comma, one header row of `quantity [unit]` cells; `time` and `torque` are needed, `angle` is optional,
other columns are ignored. A bare CSV is a complete trace; `NAME.csv-metadata.json` beside it tells the rest (rig.files.metadata).

Foreign curves of `force [N]` and `position [mm]` are read as the torque and angle they would be on a lever arm:
torque = force x arm, angle = position / arm; without a given arm force counts on 1 m and position is left out.
"""

from __future__ import annotations

import csv
import errno
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.bounds import ANGLE_MOST_DEG, OVER_CAPACITY, SAMPLES_MOST, TORQUE_LEAST_NM, TORQUE_MOST_NM, TRACE_MOST_S
from analysis.errors import quoted
from analysis.trace import Floats, Trace
from drivers.opening import DOCUMENT, TRACE, read_bytes
from rig.errors import TraceFileError
from rig.files.atomic import write_whole
from rig.files.document import values_of
from rig.files.metadata import TraceInfo, amended, from_document, info_of, to_document
from rig.files.trace_header import HEADER_MEND, Column, Layout, layout_of

_PORTION_BYTES = 1_000_000
METADATA = replace(DOCUMENT, name="metadata file", longest_line=DOCUMENT.most_bytes)


def info_path(path: Path) -> Path:
    """The metadata file that belongs to a trace's CSV (W3C: the CSV's name with '-metadata.json')."""
    return path.with_name(path.name + "-metadata.json")


# -- writing ----------------------------------------------------------------------------------------------------------------------


def header(*, with_angle: bool) -> bytes:
    """The header row."""
    return b"time [s],torque [N.m],angle [deg]\r\n" if with_angle else b"time [s],torque [N.m]\r\n"


def rows(trace: Trace, *, with_angle: bool) -> bytes:
    """Whole rows, in the shortest decimal form that reads back as the very same numbers."""
    columns = [trace.time_s.tolist(), trace.torque_nm.tolist()]
    if with_angle:
        columns.append(["" for _ in columns[0]] if trace.angle_deg is None else trace.angle_deg.tolist())
    return "".join(",".join(map(_cell, row)) + "\r\n" for row in zip(*columns, strict=True)).encode()


def _cell(value: float | str) -> str:
    return value if isinstance(value, str) else repr(value + 0.0)  # + 0.0: no minus before a zero


def write_info(path: Path, info: TraceInfo, *, with_angle: bool) -> None:
    """Write the metadata file of the trace at `path`, whole or not at all. Raises OSError."""
    write_whole(info_path(path), to_document(info, path.name, with_angle=with_angle))


def write_trace(path: Path, trace: Trace, info: TraceInfo | None = None) -> None:
    """Write a trace, and its metadata file if there is something to tell. Raises TraceFileError."""
    with_angle = trace.angle_deg is not None
    try:
        if info is not None:
            write_info(path, info, with_angle=with_angle)
        path.write_bytes(header(with_angle=with_angle) + rows(trace, with_angle=with_angle))
    except OSError as fault:
        raise TraceFileError(
            f"cannot be written ({fault.strerror})", where=str(path), remedy="check folder, rights and space"
        ) from fault


# -- reading ----------------------------------------------------------------------------------------------------------------------


def read_trace(path: Path, *, arm_m: float | None = None) -> tuple[Trace, TraceInfo]:
    """Read a trace and what is known of it; `TraceInfo.notes` says what was left out or assumed on the way.

    `arm_m` is the lever arm for curves of force and position (1 m if not given). Raises FileError or DocumentError.
    """
    where = str(path)
    data = _bytes(path)
    info = read_info(path)
    first, _, body = data.partition(b"\n")
    layout = layout_of(_header_cells(first, where), where, arm_m)
    body, notes = _whole_lines(body, layout, ours=info.software is not None)
    table = _table(body, layout, where)
    trace, gaps = _trace(table, layout, body, where)
    _believable(trace, info.transducer.capacity_nm, where)
    return trace, replace(info, notes=(*info.notes, *layout.notes, *notes, *gaps))


def _bytes(path: Path) -> bytes:
    data = read_bytes(path, TRACE)
    if not data.strip():
        raise TraceFileError("is empty", where=str(path), remedy="record the pull again")
    return data if b"\n" in data else data.replace(b"\r", b"\n")


def _is_there(path: Path) -> bool:
    """Whether there is such a file; none can be under a name that is too long for the disk."""
    try:
        return path.exists()
    except OSError as fault:
        if fault.errno == errno.ENAMETOOLONG:
            return False
        raise


def read_info(path: Path) -> TraceInfo:
    """What the metadata file of the trace at `path` says; nothing where there is none. Raises FileError or DocumentError."""
    target = info_path(path)
    return from_document(read_bytes(target, METADATA), str(target)) if _is_there(target) else TraceInfo()


def amend_info(path: Path, **changes: object) -> None:
    """Change what the metadata of the trace at `path` says, keeping all else in it. Raises FileError, DocumentError or OSError."""
    target = info_path(path)
    document = values_of(read_bytes(target, METADATA), str(target), is_json=True)
    info = replace(info_of(document, str(target)), **changes)  # type: ignore[arg-type]
    write_whole(target, amended(document, info))


def _header_cells(line: bytes, where: str) -> list[str]:
    try:
        text = line.decode("utf-8").rstrip("\r")
    except UnicodeDecodeError as fault:
        raise TraceFileError("is not a text file in UTF-8", where=where, remedy="name a CSV file, saved as 'CSV UTF-8'") from fault
    try:
        cells = next(csv.reader([text]), [])
    except csv.Error as fault:  # a line end of another kind inside
        raise TraceFileError(f"has no header row ({fault})", where=f"{where}, row 1", remedy=HEADER_MEND) from fault
    if len(cells) < 2 and (";" in text or "\t" in text):
        raise TraceFileError(
            "the columns are not separated by commas",
            where=f"{where}, row 1",
            remedy="save it with commas between columns and points in numbers",
        )
    return cells


def _whole_lines(body: bytes, layout: Layout, *, ours: bool) -> tuple[bytes, list[str]]:
    """Take off an unfinished last line: one with cells missing, or any in a file of our recorder, which ends every line."""
    end = body.rfind(b"\n") + 1
    rest = body[end:]
    if not rest.strip():
        return body, []
    if ours or rest.count(b",") < max(layout.places):
        return body[:end], ["the last line is unfinished and left out"]
    return body, []


def _table(body: bytes, layout: Layout, where: str) -> Floats:
    """The used columns as numbers, (rows, columns); a missing value is NaN. Raises TraceFileError naming the row."""
    parts = [np.empty((0, len(layout.used)))]
    for from_byte, to_byte in _portions(body):
        portion = body[from_byte:to_byte]
        if not portion.strip():
            continue
        try:
            parts.append(
                np.loadtxt(io.BytesIO(portion), delimiter=",", usecols=layout.places, ndmin=2, comments=None, encoding="utf-8")
            )
        except ValueError:  # a cell that is no number, or quoted: row by row, slower, and with the row's number
            parts.append(_table_by_row(portion, layout, where, 2 + body.count(b"\n", 0, from_byte)))
    return np.concatenate(parts)


def _portions(body: bytes) -> Iterator[tuple[int, int]]:
    """Portions of whole lines, so that one odd cell makes a portion slow and not a file of millions of rows."""
    from_byte = 0
    while from_byte < len(body):
        end = body.find(b"\n", from_byte + _PORTION_BYTES)
        to_byte = len(body) if end < 0 else end + 1
        yield from_byte, to_byte
        from_byte = to_byte


def _table_by_row(portion: bytes, layout: Layout, where: str, first_row: int) -> Floats:
    table: list[list[float]] = []
    reader = csv.reader(io.StringIO(portion.decode("utf-8", errors="replace"), newline=""))
    try:
        table.extend(
            [_number(row, column, f"{where}, row {reader.line_num + first_row - 1}") for column in layout.used]
            for row in reader
            if any(cell.strip() for cell in row)
        )
    except csv.Error as fault:
        place = f"{where}, row {reader.line_num + first_row - 1}"
        raise TraceFileError(f"is not CSV ({fault})", where=place, remedy="fix or delete the row") from fault
    return np.array(table, dtype=np.float64).reshape(len(table), len(layout.used))


def _number(row: Sequence[str], column: Column, where: str) -> float:
    if column.at >= len(row):
        raise TraceFileError(f"the row ends before its {column.title}", where=where, remedy="fix or delete the row")
    cell = row[column.at].strip()
    if not cell:
        return math.nan
    try:
        if "_" not in cell:
            return float(cell)
    except ValueError:
        pass
    raise TraceFileError(f"{column.title} {quoted(cell)} is not a number", where=where, remedy="fix or delete the row")


def _trace(table: Floats, layout: Layout, body: bytes, where: str) -> tuple[Trace, list[str]]:
    time_s = table[:, 0] * layout.time.scale.factor + layout.time.scale.offset
    for column, values in zip(layout.used, table.T, strict=True):
        bad = np.isinf(values) if column is not layout.time else ~np.isfinite(values)
        if bad.any():
            what = f"{column.title} is missing" if np.isnan(values[bad.argmax()]) else f"{column.title} is not finite"
            raise TraceFileError(what, where=_row(body, int(bad.argmax()), where), remedy="fix or delete the row")
    backward = np.flatnonzero(np.diff(time_s) <= 0)
    if backward.size:
        raise TraceFileError(
            "time does not rise", where=_row(body, int(backward[0]) + 1, where), remedy="fix the time or delete the row"
        )
    if len(table) > SAMPLES_MOST:
        raise TraceFileError(f"holds over {SAMPLES_MOST} samples", where=where, remedy="cut it into pulls")
    torque_nm = (table[:, 1] * layout.torque.scale.factor + layout.torque.scale.offset) * (layout.arm_m or 1.0)
    torque_nm[np.abs(torque_nm) < TORQUE_LEAST_NM] = 0.0
    there, notes = ~np.isnan(torque_nm), []
    angle_deg = None
    if layout.angle is not None:
        angle_deg = table[:, 2] * layout.angle.scale.factor + layout.angle.scale.offset
        if layout.arm_m is not None:
            angle_deg = np.degrees(angle_deg / layout.arm_m)
        holes = np.isnan(angle_deg)
        if holes.sum() * 2 > holes.size:
            angle_deg = None
            notes.append("most angles are missing; read without angle")
        else:
            there &= ~holes
    if not there.all():
        notes.append(f"{int((~there).sum())} samples have no value and are left out")
        time_s, torque_nm = time_s[there], torque_nm[there]
        angle_deg = None if angle_deg is None else angle_deg[there]
    return Trace(time_s, torque_nm, angle_deg), notes


def _believable(trace: Trace, capacity_nm: float | None, where: str) -> None:
    """Refuse numbers that no bench of this trade could have sent. Raises TraceFileError."""
    if not len(trace):
        return
    most_nm = TORQUE_MOST_NM if capacity_nm is None else OVER_CAPACITY * capacity_nm
    highest_nm = float(np.abs(trace.torque_nm).max())
    why = ""
    if highest_nm > most_nm:
        of = "" if capacity_nm is None else f", {OVER_CAPACITY:g} times the sensor's capacity"
        why = f"torque reaches {highest_nm:.3g} N.m, beyond {most_nm:.4g} N.m{of}"
    elif trace.duration_s > TRACE_MOST_S:
        why = f"it lasts {trace.duration_s:.3g} s, over a week"
    elif trace.angle_deg is not None and float(np.abs(trace.angle_deg).max()) > ANGLE_MOST_DEG:
        why = f"the angle reaches {float(np.abs(trace.angle_deg).max()):.3g} deg"
    if why:
        raise TraceFileError(f"is not believed: {why}", where=where, remedy="check the units in the first row")


def _row(body: bytes, index: int, where: str) -> str:
    """The place of a sample: the file and the line of it, as an editor numbers lines (the header is line 1)."""
    filled = (number for number, line in enumerate(body.splitlines(), start=2) if line.strip(b" \t,"))
    number = next((number for at, number in enumerate(filled) if at == index), None)
    return where if number is None else f"{where}, row {number}"
