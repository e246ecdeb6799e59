"""REFIT.toml as a value: what was measured and what the maker's page wants, in mm, N.m, degrees and litres. Nothing here judges.

Readings may be of any size and sign: what is impossible for its kind is a finding of the sheet, not a fault of the file.
"""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Annotated, ClassVar, Literal, Self

from analysis.errors import quoted
from analysis.refit.bearing_gap import BearingReadings, Form
from analysis.refit.limits import Limits
from analysis.units import to_unit
from rig.files.document import Read, read_document
from rig.files.fields import (
    AngleDeg,
    FromText,
    LengthMm,
    Name,
    OneOrMany,
    Open,
    RangeOf,
    Refusal,
    Share,
    TorqueNm,
    VolumeL,
    VolumeRangeL,
    Words,
    between,
    says,
)

VERSION = 1
LENGTH_U_MM = 0.006
"""Standard uncertainty of a feeler or a dial, unless the sheet says otherwise (contract)."""
DEPTH_U_MM = 0.012
"""... of a depth gauge."""
SPREAD_MAX_MM = 0.05
"""Of readings round a flange, unless the sheet says otherwise (contract)."""
TOLERANCE = 0.04
"""Of a bolt's torque, unless the sheet says otherwise (contract)."""
STAGES = (0.30, 0.60, 1.00, 1.00)
"""Of a bolt's torque; the last pass checks again (contract; TRADE.md 7, common practice)."""
MOST_BOLTS = 120
"""No group has more; a larger count is a slip of the pen."""
MOST_SHIMS = 200
"""A shelf of more sizes is no shelf."""


# -- kinds of values --------------------------------------------------------------------------------------------------------------


class ReadingMm(LengthMm):
    """A reading of gauge, dial or feeler; below zero only by mistake, which the sheet's answer says."""

    EXAMPLE, LOW = "0.12 mm", -10_000.0


class RadiusMm(LengthMm):
    """A radius above zero."""

    EXAMPLE, LOW = "92 mm", math.nextafter(0.0, 1.0)


class Interference(RangeOf):
    """What the bearings shall be pressed together by; both ends, for the middle is aimed at."""

    OF, BOTH_ENDS = ReadingMm, True


class BacklashWindow(RangeOf):
    """Limits of a backlash."""

    OF = ReadingMm


class DragNm(TorqueNm):
    """A drag torque, either way round."""

    EXAMPLE, LOW = "1.2 N.m", -TorqueNm.HIGH


class DragLimitNm(TorqueNm):
    """A limit of a drag torque."""

    EXAMPLE = "1.2 N.m"


class DragWindow(RangeOf):
    """Limits of a drag torque."""

    OF = DragLimitNm


class BoltTorqueNm(TorqueNm):
    """A bolt's torque, above zero."""

    EXAMPLE, LOW = "98 N.m", math.nextafter(0.0, 1.0)


class PeakNm(TorqueNm):
    """A bolt's peak, either way round; "-" was not recorded."""

    EXAMPLE, LOW, WORDS = "97.6 N.m", -TorqueNm.HIGH, {"-": math.nan}


class TurnedDeg(AngleDeg):
    """An angle turned, either way round; "-" was not recorded."""

    EXAMPLE, WORDS = "90 deg", {"-": math.nan}


class AngleWantedDeg(AngleDeg):
    """An angle above zero."""

    EXAMPLE, LOW = "90 deg", math.nextafter(0.0, 1.0)


class Stage(Share):
    """A share of the bolt's torque, above zero."""

    EXAMPLE, LOW = "30 %", math.nextafter(0.0, 1.0)


class AnyVolumeL(VolumeL):
    """A volume; below zero only by mistake, which the sheet's answer says."""

    LOW = -VolumeL.HIGH


class PerShim(float, FromText):
    """Change of backlash for shim moved across, a ratio of lengths; written '0.075 mm per 0.10 mm'."""

    EXPECTED: ClassVar[str] = 'a change of backlash for a shim moved across, such as "0.075 mm per 0.10 mm"'
    _FORM: ClassVar = re.compile(r"\s*(.+?)\s+(?:per|je|/)\s+(.+?)\s*", re.I)

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read it. Raises UnitError or Refusal."""
        match = cls._FORM.fullmatch(text)
        if match is None:
            raise Refusal("", f"is {quoted(text)}", cls.EXPECTED)
        change, shim = (to_unit(part, "length", "mm") for part in match.groups())
        if change <= 0 or shim <= 0:
            raise Refusal("", f"is {quoted(text)}, which is not above zero", cls.EXPECTED)
        return cls(change / shim)


class Dose(FromText):
    """Additive: a share of what is filled, or a volume."""

    EXPECTED: ClassVar[str] = 'a share of what is filled or a volume, such as "4 %" or "80 ml"'
    __slots__ = ("share", "volume_l")

    def __init__(self, share: float | None, volume_l: float | None) -> None:
        self.share, self.volume_l = share, volume_l

    @classmethod
    def parse(cls, text: str) -> Self:
        """Read it. Raises UnitError or Refusal."""
        return cls(float(Share.parse(text)), None) if "%" in text else cls(None, float(VolumeL.parse(text)))

    def litres_of(self, filled_l: float) -> float:
        """The dose in litres."""
        return self.share * filled_l if self.share is not None else self.volume_l or 0.0


# -- the parts --------------------------------------------------------------------------------------------------------------------


class Bearing(Open, frozen=True, kw_only=True):
    """A pair of bearings whose preload is set by shims."""

    name: Name
    form: Form
    wanted: Annotated[Interference, says('the interference that the page wants, both ends, such as "0.15..0.21 mm"')]
    gap: OneOrMany[ReadingMm] = OneOrMany()
    end_play: OneOrMany[ReadingMm] = OneOrMany()
    depth_case: OneOrMany[ReadingMm] = OneOrMany()
    depth_bearing: OneOrMany[ReadingMm] = OneOrMany()
    shims_now: OneOrMany[ReadingMm] | None = None
    thicker_shim: Literal["more preload", "less preload"] | None = None
    shelf: OneOrMany[ReadingMm] = OneOrMany()
    shims_max: Annotated[int, between(0, MOST_SHIMS)] | None = None
    turned: Annotated[float, between(0, 1000)] | None = None
    spread_max: LengthMm | None = None
    u: LengthMm | None = None

    def __post_init__(self) -> None:
        depths = self.form is Form.DEPTHS
        for key in ("depth_case", "depth_bearing") if depths else (str(self.form),):
            if not getattr(self, key):
                raise Refusal(key, "is missing", 'a list of readings, such as ["0.12 mm", "0.13 mm"]')
        if len(self.shelf) > MOST_SHIMS:
            raise Refusal("shelf", f"holds {len(self.shelf)} shims", f"at most {MOST_SHIMS}")
        if depths:
            return
        if self.thicker_shim is None:
            expected = '"more preload", or "less preload" where a thicker shim makes room'
            raise Refusal("thicker_shim", "is missing", expected)
        if self.shims_now is None:
            raise Refusal("shims_now", "is missing", 'the shims fitted while measuring, such as ["1.10 mm"], or [] for none')

    def readings(self) -> BearingReadings:
        """What the analysis needs. Depths are measured from the case: without a word a thicker shim loads the bearing."""
        depths = self.form is Form.DEPTHS
        u = self.u if self.u is not None else DEPTH_U_MM if depths else LENGTH_U_MM
        return BearingReadings(
            form=self.form,
            readings=floats(self.depth_case if depths else getattr(self, str(self.form))),
            depth_bearing=floats(self.depth_bearing) if depths else (),
            wanted=Limits(self.wanted.low, self.wanted.high),
            shims_now=floats(self.shims_now or ()),
            thicker_loads=self.thicker_shim != "less preload",
            shelf=floats(self.shelf),
            shims_max=self.shims_max,
            turned=self.turned,
            spread_max_mm=SPREAD_MAX_MM if self.spread_max is None else float(self.spread_max),
            u_mm=float(u),
        )


class Drag(Open, frozen=True, kw_only=True):
    """Drag of bearings, by readings or by traces (paths as the sheet names them)."""

    name: Name
    torque: OneOrMany[DragNm] = OneOrMany()
    traces: OneOrMany[Name] = OneOrMany()
    window: DragWindow | None = None
    variation_max: DragLimitNm | None = None
    sensor_u: DragLimitNm | None = None
    set_after: Words | None = None

    def __post_init__(self) -> None:
        if bool(self.torque) is bool(self.traces):
            what = "stands beside 'traces'" if self.torque else "is missing"
            raise Refusal("torque", what, 'readings such as ["1.2 N.m"], or traces = ["drag.csv"]')


class Backlash(Open, frozen=True, kw_only=True):
    """Backlash round a gear, as the dial showed it."""

    name: Name
    points: OneOrMany[ReadingMm]
    window: BacklashWindow | None = None
    variation_max: LengthMm | None = None
    dial_radius: RadiusMm | None = None
    gear_radius: RadiusMm | None = None
    per_shim: PerShim | None = None
    u: LengthMm | None = None
    set_after: Words | None = None

    def __post_init__(self) -> None:
        if not self.points:
            raise Refusal("points", "is empty", 'a list of readings, such as ["0.15 mm", "0.17 mm"]')
        if (self.dial_radius is None) is not (self.gear_radius is None):
            key = "dial_radius" if self.dial_radius is None else "gear_radius"
            raise Refusal(key, "is missing", "both radii, or none where the dial stands at the pitch radius")

    @property
    def gear_over_dial(self) -> float:
        """Pitch radius over the radius of the dial."""
        return 1.0 if self.gear_radius is None or self.dial_radius is None else self.gear_radius / self.dial_radius


class Fasteners(Open, frozen=True, kw_only=True):
    """A group of bolts."""

    name: Name
    count: Annotated[int, between(1, MOST_BOLTS)]
    torque: BoltTorqueNm
    tolerance: Share | None = None
    stages: OneOrMany[Stage] = OneOrMany()
    angle: AngleWantedDeg | None = None
    angle_tolerance: AngleWantedDeg | None = None
    locked_by: Words | None = None
    thread: Literal["right", "left"] = "right"
    state: Literal["new", "reused"] | None = None
    single_use: bool = False
    threads: Literal["dry", "oiled", "threadlock"] | None = None
    peaks: OneOrMany[PeakNm] = OneOrMany()
    angles: OneOrMany[TurnedDeg] = OneOrMany()
    traces: OneOrMany[Name] = OneOrMany()

    def __post_init__(self) -> None:
        if self.angle is not None and self.angle_tolerance is None:
            raise Refusal("angle_tolerance", "is missing", 'the page\'s tolerance of the angle, such as "5 deg"')
        if self.peaks and self.traces:
            raise Refusal("peaks", "stands beside 'traces'", "one of the two")
        for key in ("peaks", "angles", "traces"):
            if len(getattr(self, key)) > self.count:
                raise Refusal(key, f"holds {len(getattr(self, key))} entries", f"at most one a bolt, of {self.count}")

    @property
    def share(self) -> float:
        """The tolerance, a share of the torque."""
        return TOLERANCE if self.tolerance is None else float(self.tolerance)

    @property
    def stages_nm(self) -> list[float]:
        """The torque of each pass."""
        return [stage * float(self.torque) for stage in floats(self.stages) or STAGES]


class Fill(Open, frozen=True, kw_only=True):
    """Oil in and out, and its additive."""

    name: Name
    filled: AnyVolumeL
    drained: AnyVolumeL | None = None
    wanted: VolumeRangeL | None = None
    additive: Dose | None = None
    additive_added: AnyVolumeL | None = None


class Head(Open, frozen=True, kw_only=True):
    """Whose sheet it is."""

    unit: Words | None = None
    page: Words | None = None


class RefitSheet(Open, frozen=True, kw_only=True):
    """A whole sheet."""

    refit: Head = Head()
    bearing: OneOrMany[Bearing] = OneOrMany()
    drag: OneOrMany[Drag] = OneOrMany()
    backlash: OneOrMany[Backlash] = OneOrMany()
    fasteners: OneOrMany[Fasteners] = OneOrMany()
    fill: OneOrMany[Fill] = OneOrMany()

    def __post_init__(self) -> None:
        if not (self.bearing or self.drag or self.backlash or self.fasteners or self.fill):
            raise Refusal("", "holds no part", "a section of [[bearing]], [[drag]], [[backlash]], [[fasteners]], [[fill]]")


def read_refit(path: Path) -> Read[RefitSheet]:
    """Read a refit sheet. Raises FileError or DocumentError."""
    return read_document(path, RefitSheet, "refit sheet", if_missing="check the name, or start from platepull refit --template")


def floats(values: tuple[float, ...] | OneOrMany[ReadingMm]) -> tuple[float, ...]:
    """Plain numbers of quantities."""
    return tuple(float(value) for value in values)


def limits_of(window: RangeOf | None) -> Limits | None:
    """A window of the sheet as the analysis takes it."""
    return None if window is None else Limits(window.low, window.high)


def recorded(values: tuple[float, ...], at: int) -> float | None:
    """What was recorded at a place of a list, as a magnitude; None where nothing was."""
    return None if at >= len(values) or math.isnan(values[at]) else abs(float(values[at]))
