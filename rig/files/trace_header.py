"""Which columns of a trace file are used, and how they become SI: the header row read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.errors import BenchError
from analysis.units import ColumnHeader, Quantity, Scale, scale_to_si
from rig.errors import TraceFileError

HEADER_MEND = "the first row must name the columns like 'time [s],torque [N.m],angle [deg]'"
DEFAULT_ARM_M = 1.0


@dataclass(frozen=True, slots=True)
class Column:
    """A column that is used: where it stands, how it is called there, and how it becomes SI."""

    at: int
    title: str
    scale: Scale


@dataclass(frozen=True, slots=True)
class Layout:
    """The columns of a file that are used; `angle` is None where it has none.

    arm_m   torque and angle come of force and position on this arm; None: they were measured
    notes   what a reader should know of the columns
    """

    time: Column
    torque: Column
    angle: Column | None
    arm_m: float | None
    notes: tuple[str, ...]

    @property
    def used(self) -> list[Column]:
        """The columns in the order time, torque, angle."""
        return [column for column in (self.time, self.torque, self.angle) if column is not None]

    @property
    def places(self) -> list[int]:
        """Where they stand in a row."""
        return [column.at for column in self.used]


def layout_of(cells: Sequence[str], where: str, arm_m: float | None) -> Layout:
    """Read the header row. `arm_m` None: force on 1 m, position left out. Raises TraceFileError."""
    heads = [ColumnHeader.parse(cell) for cell in cells]
    named = {head.quantity: at for at, head in reversed(list(enumerate(heads)))}
    if not named.keys() & {"time", "torque", "force", "angle", "position"}:
        raise TraceFileError("has no header row that names time and torque", where=f"{where}, row 1", remedy=HEADER_MEND)

    def column(name: str, quantity: Quantity) -> Column | None:
        if name not in named:
            return None
        head = heads[named[name]]
        if not head.unit:
            raise TraceFileError(f"the column '{name}' has no unit", where=f"{where}, row 1", remedy=HEADER_MEND)
        try:
            scale = scale_to_si(head.unit, quantity)
        except BenchError as fault:
            raise TraceFileError(f"in the column '{name}', {fault.what}", where=f"{where}, row 1", remedy=fault.remedy) from fault
        return Column(named[name], name, scale)

    time = column("time", "time")
    if time is None:
        raise TraceFileError("has no time column", where=f"{where}, row 1", remedy=HEADER_MEND)
    doubled = {head.quantity for head in heads if sum(other.quantity == head.quantity for other in heads) > 1}
    notes = [f"more than one '{name}' column; the first is read" for name in sorted(doubled & {"time", "torque", "angle"})]
    torque, angle, arm = column("torque", "torque"), column("angle", "angle"), None
    if torque is None:
        torque, angle = column("force", "force"), column("position", "length")
        if torque is None:
            others = ", ".join(f"'{cell.strip()}'" for cell in cells if cell.strip())
            raise TraceFileError(
                f"has neither torque nor force (its columns are {others})",
                where=f"{where}, row 1",
                remedy="nothing here can be judged; " + HEADER_MEND,
            )
        arm = DEFAULT_ARM_M if arm_m is None else arm_m
        notes.append(f"force read as torque on an arm of {arm:g} m" + (" (assumed; give --arm)" if arm_m is None else ""))
        if angle is not None and arm_m is None:
            # Degrees on an assumed arm would decide what counts as travel; force needs no such scale to be read.
            angle = None
            notes.append("position left out: without --arm it has no angle")
        elif angle is not None:
            notes.append("position read as angle on the same arm")
    return Layout(time, torque, angle, arm, tuple(notes))
