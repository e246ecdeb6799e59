"""The pack sheet (PACK.md 1): what was measured and what was pulled."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from analysis.pack.parts import (
    Build,
    CupSpring,
    HistoryEntry,
    Pack,
    Plate,
    PlateKind,
    PlateState,
    SideBuild,
    Space,
    SpaceForm,
    SpringBlock,
    Uncertainty,
)
from rig.errors import DocumentError
from rig.files.document import Read, read_document
from rig.files.fields import LengthMm, Name, OneOrMany, Open, Refusal, Share, StiffnessNPerMm, TorqueNm, Words
from rig.pack.spec_card import ArrangementCode, State
from rig.pack.springs import SpringDimensions, told_of

Closure = Literal["trial", "final"]


class Pulled(TorqueNm):
    """What a pull read; free where nothing held."""

    EXAMPLE = "31.2 N.m"
    WORDS = {"free": 0.0}  # noqa: RUF012  read-only by its type
    EXPECTED = 'a torque with its unit in quotes, such as "31.2 N.m", or "free"'


class PackHead(Open, frozen=True):
    """`[pack]`."""

    unit: Words
    oil: Words
    arrangement: ArrangementCode
    spec: str | None = None
    shelf: str | None = None
    plate_state: State | None = None
    closure: Closure | None = None


class FaceTable(Open, frozen=True):
    """`[face]`: the rubbing ring."""

    outer_diameter: LengthMm
    inner_diameter: LengthMm

    def __post_init__(self) -> None:
        """A ring has a hole."""
        if self.inner_diameter >= self.outer_diameter:
            raise Refusal("inner_diameter", f"is '{self.inner_diameter.text}', not less than outer_diameter", LengthMm.EXPECTED)


class UncertaintyTable(Open, frozen=True):
    """`[uncertainty]`: standard uncertainties."""

    plate: LengthMm | None = None
    plate_common: LengthMm | None = None
    spring_thickness: LengthMm | None = None
    free_height: LengthMm | None = None
    depth: LengthMm | None = None
    shim: LengthMm | None = None
    stack_height: LengthMm | None = None
    end_play: LengthMm | None = None
    torque: Share | None = None

    def uncertainty(self) -> Uncertainty:
        """As the analysis takes it, PACK.md's defaults where nothing is said."""
        given = {
            f"{key}_mm" if key != "torque" else key: float(value)
            for key in self.__struct_fields__
            if (value := getattr(self, key)) is not None
        }
        return replace(Uncertainty(), **given)


class PlateTable(Open, frozen=True):
    """One of `[[plates]]`."""

    id: Name
    kind: Literal["inner", "outer"]
    thickness: OneOrMany[LengthMm] = OneOrMany()
    unworn: LengthMm | None = None
    flatness: LengthMm | None = None
    condition: Words = Words("")

    def plate(self) -> Plate:
        """As the analysis takes it."""
        return Plate(
            str(self.id),
            PlateKind(self.kind),
            tuple(map(float, self.thickness)),
            self.unworn,
            self.flatness,
            told_of(str(self.condition)),
        )


class SideTable(Open, frozen=True):
    """`[left]` or `[right]`, or what of it differs in an entry of the history."""

    plates: OneOrMany[Name] | None = None
    springs: OneOrMany[Name] | None = None
    stack: str | None = None
    shims: OneOrMany[LengthMm] | None = None
    stack_height: LengthMm | None = None
    stack_with_shims: bool | None = None

    def __post_init__(self) -> None:
        """The orientation of springs is written in two signs."""
        if self.stack is not None and set(self.stack) - set("()"):
            raise Refusal("stack", f"is '{self.stack}'", "a sign a spring, '(' or ')', such as '((' or '()'")

    def over(self, base: SideBuild) -> SideBuild:
        """The side with what is said here in place of what stood there."""
        made = base
        if self.plates is not None:
            # A stack height belongs to its plates: with others it is no longer known.
            made = replace(made, plates=tuple(map(str, self.plates)), stack_height_mm=None)
        if self.springs is not None:
            made = replace(made, springs=tuple(map(str, self.springs)))
        if self.stack is not None:
            made = replace(made, stack=self.stack)
        if self.shims is not None:
            made = replace(made, shims_mm=tuple(map(float, self.shims)))
        if self.stack_height is not None:
            made = replace(made, stack_height_mm=float(self.stack_height))
        if self.stack_with_shims is not None:
            made = replace(made, stack_with_shims=self.stack_with_shims)
        return made


class NowTable(SideTable, frozen=True):
    """`[left]` or `[right]`: what is fitted now."""

    def __post_init__(self) -> None:
        """Plates and shims are required; springs unless they stand elsewhere."""
        super().__post_init__()
        if self.plates is None:
            raise Refusal("plates", "is missing", 'the plates in order from the case wall, such as ["L1", "L2"] or their kinds')
        if self.shims is None:
            raise Refusal("shims", "is missing", 'the shims fitted, such as ["0.30 mm"], or [] for none')


class PerSideSpace(Open, frozen=True):
    """Depths of one side."""

    case_depth: LengthMm
    gear_height: LengthMm


class SpaceTable(Open, frozen=True):
    """`[space]`."""

    form: Literal["per_side", "across", "cover"]
    left: PerSideSpace | None = None
    right: PerSideSpace | None = None
    case_depth_1: LengthMm | None = None
    case_depth_2: LengthMm | None = None
    overlap: LengthMm | None = None
    centre: LengthMm | None = None
    edge_to_plate: LengthMm | None = None
    cover_boss: LengthMm | None = None
    measured_with_shims: OneOrMany[LengthMm] = OneOrMany()

    def __post_init__(self) -> None:
        """Each form has its own keys."""
        wanted = {
            "per_side": ("left", "right"),
            "across": ("case_depth_1", "case_depth_2", "overlap", "centre"),
            "cover": ("edge_to_plate", "cover_boss"),
        }[self.form]
        for key in wanted:
            if getattr(self, key) is None:
                raise Refusal(key, "is missing", f"{key}, which the form '{self.form}' needs")

    def space(self) -> Space:
        """As the analysis takes it."""
        if self.left is not None and self.right is not None and self.form == "per_side":
            return Space(
                SpaceForm.PER_SIDE,
                (float(self.left.case_depth), float(self.right.case_depth)),
                (float(self.left.gear_height), float(self.right.gear_height)),
            )
        if self.form == "across":
            depths = (float(self.case_depth_1 or 0.0), float(self.case_depth_2 or 0.0))
            return Space(SpaceForm.ACROSS, depths, overlap_mm=float(self.overlap or 0.0), centre_mm=float(self.centre or 0.0))
        return Space(
            SpaceForm.COVER,
            edge_to_plate_mm=float(self.edge_to_plate or 0.0),
            cover_boss_mm=float(self.cover_boss or 0.0),
            measured_with_shims_mm=float(sum(self.measured_with_shims)),
        )


class BlockTable(Open, frozen=True):
    """`[block]`: springs between the side gears."""

    count: int
    rate: StiffnessNPerMm
    free_length: LengthMm
    fitted_length: LengthMm


class HistoryTable(Open, frozen=True):
    """One of `[[history]]`."""

    note: Words = Words("")
    arrangement: ArrangementCode | None = None
    oil: Words | None = None
    plate_state: State | None = None
    closure: Closure | None = None
    left: SideTable = SideTable()
    right: SideTable = SideTable()
    breakaway: OneOrMany[Pulled] = OneOrMany()
    sliding: OneOrMany[Pulled] = OneOrMany()
    traces: OneOrMany[Name] = OneOrMany()
    end_play: tuple[LengthMm, LengthMm] | None = None

    def __post_init__(self) -> None:
        """Something was pulled."""
        if not (self.breakaway or self.sliding or self.traces):
            raise Refusal("breakaway", "is missing", 'what the pulls read, such as ["31.2 N.m", "30.4 N.m"], or "free"')


class PackDocument(Open, frozen=True):
    """A pack sheet as it stands in its file."""

    pack: PackHead
    face: FaceTable
    left: NowTable
    right: NowTable
    uncertainty: UncertaintyTable = UncertaintyTable()
    plates: tuple[PlateTable, ...] = ()
    springs: tuple[SpringDimensions, ...] = ()
    space: SpaceTable | None = None
    block: BlockTable | None = None
    history: tuple[HistoryTable, ...] = ()


@dataclass(frozen=True, slots=True)
class TraceReading:
    """What a trace of the history reads; 0 where nothing held."""

    breakaway_nm: float | None
    sliding_nm: float | None
    first_step_nm: float | None = None


ReadTrace = Callable[[Path], TraceReading]


def read_pack_document(path: Path) -> Read[PackDocument]:
    """Read a pack sheet as it stands. Raises FileError or DocumentError."""
    return read_document(path, PackDocument, "pack sheet", if_missing="check the path, or print one with --template pack")


def pack_of(document: PackDocument, path: Path, read_trace: ReadTrace) -> Pack:
    """A pack sheet as the analysis takes it.

    Parameters
    ----------
    document, path
        As read; traces and curves are named relative to the file.
    read_trace
        Reads one trace of the history, as `platepull analyse` reads it.

    Raises
    ------
    DocumentError
        Where parts do not go together: springs and their signs, two entries of one name.
    """
    plates: dict[str, Plate] = {}
    for table in document.plates:
        _once(str(table.id), plates, "plates", path)
        plates[str(table.id)] = table.plate()
    springs: dict[str, CupSpring] = {}
    for one in document.springs:
        _once(str(one.id), springs, "springs", path)
        springs[str(one.id)] = one.spring(path.parent)
    head = document.pack
    oil = _oil(str(head.oil))
    bare = SideBuild(plates=())
    now = Build(
        document.left.over(bare),
        document.right.over(bare),
        None if head.plate_state is None else PlateState(head.plate_state),
        head.closure,
        oil,
    )
    _check_stacks(now, "", path)
    history = []
    for number, entry in enumerate(document.history, start=1):
        history.append(_entry(entry, now, str(head.arrangement), path, read_trace))
        _check_stacks(history[-1].build, f", [history {number}]", path)
    return Pack(
        unit=str(head.unit),
        now=now,
        arrangement=str(head.arrangement),
        face_outer_mm=float(document.face.outer_diameter),
        face_inner_mm=float(document.face.inner_diameter),
        plates=plates,
        springs=springs,
        space=None if document.space is None else document.space.space(),
        block=None if document.block is None else _block(document.block),
        history=tuple(history),
        uncertainty=document.uncertainty.uncertainty(),
    )


def _block(table: BlockTable) -> SpringBlock:
    return SpringBlock(table.count, float(table.rate), float(table.free_length), float(table.fitted_length))


def _oil(text: str) -> str:
    """One of the known words, or whatever was written: then a kind of its own, of unknown friction."""
    return text.strip().lower() or "unknown"


def _once(name: str, known: dict[str, Plate] | dict[str, CupSpring], where: str, path: Path) -> None:
    if name in known:
        raise DocumentError(f"'{name}' stands twice under [[{where}]]", where=str(path), remedy="give each its own id")


def _check_stacks(build: Build, where: str, path: Path) -> None:
    for name, side in zip(("left", "right"), build.sides, strict=True):
        if len(side.stack) != len(side.springs):
            what = f"[{name}] has {len(side.springs)} springs and {len(side.stack)} signs in 'stack'"
            raise DocumentError(what, where=f"{path}{where}", remedy="write a sign a spring, such as '((' or '()'")


def _entry(table: HistoryTable, now: Build, arrangement: str, path: Path, read_trace: ReadTrace) -> HistoryEntry:
    build = Build(
        table.left.over(now.left),
        table.right.over(now.right),
        now.plate_state if table.plate_state is None else PlateState(table.plate_state),
        table.closure or now.closure,
        now.oil if table.oil is None else _oil(str(table.oil)),
    )
    read = [read_trace(path.parent / name) for name in table.traces]
    return HistoryEntry(
        build=build,
        arrangement=str(table.arrangement or arrangement),
        breakaway_nm=(*map(float, table.breakaway), *(one.breakaway_nm for one in read if one.breakaway_nm is not None)),
        sliding_nm=(*map(float, table.sliding), *(one.sliding_nm for one in read if one.sliding_nm is not None)),
        end_play_mm=None if table.end_play is None else (float(table.end_play[0]), float(table.end_play[1])),
        note=str(table.note),
        first_step_nm=tuple(one.first_step_nm for one in read if one.first_step_nm is not None),
    )
