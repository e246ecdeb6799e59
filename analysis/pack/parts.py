"""What a pack sheet, a spec card and a shelf hold. Lengths in mm, forces in N, torques in N.m."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from analysis.pack.arrangement import Layout
from analysis.window import Window

SIDES = ("left", "right")


class PlateKind(StrEnum):
    """What a plate turns with."""

    INNER = "inner"
    """Splined to the side gear."""
    OUTER = "outer"
    """Tabbed to the case."""


class PlateState(StrEnum):
    """How far the rubbing faces have run in."""

    NEW = "new"
    RUN_IN = "run_in"
    USED = "used"


class Sense(StrEnum):
    """What a thicker shim does, as the unit's drawing has it."""

    MORE_PRELOAD = "more preload"
    LESS_PRELOAD = "less preload"
    """A spacer that makes room for the springs."""
    LESS_CLEARANCE = "less clearance"
    """Springs elsewhere; the shim sets the end play."""


class SpaceForm(StrEnum):
    """How the space for plates, shims and springs was measured (TRADE.md 3.2)."""

    PER_SIDE = "per_side"
    ACROSS = "across"
    COVER = "cover"


@dataclass(frozen=True, slots=True)
class Plate:
    """One plate. `thickness_mm`: readings on the rubbed track; `told` what the eye saw (cracked, blue, bare)."""

    name: str
    kind: PlateKind
    thickness_mm: tuple[float, ...] = ()
    unworn_mm: float | None = None
    flatness_mm: float | None = None
    told: tuple[str, ...] = ()

    @property
    def mean_mm(self) -> float:
        """Mean of the readings; only where there are some."""
        return sum(self.thickness_mm) / len(self.thickness_mm)


@dataclass(frozen=True, slots=True)
class CupSpring:
    """One cup spring. `curve`: deflections in mm and loads in N as measured on closing, instead of the formula."""

    name: str
    outer_diameter_mm: float
    inner_diameter_mm: float
    thickness_mm: float
    free_height_mm: float
    thickness_before_flats_mm: float | None = None
    curve: tuple[tuple[float, ...], tuple[float, ...]] | None = None
    told: tuple[str, ...] = ()

    @property
    def cone_height_mm(self) -> float:
        """Free height less thickness."""
        return self.free_height_mm - self.thickness_mm


@dataclass(frozen=True, slots=True)
class SideBuild:
    """What is in one side. `plates` are names, or kinds where no plate has an entry of its own."""

    plates: tuple[str, ...]
    springs: tuple[str, ...] = ()
    stack: str = ""
    shims_mm: tuple[float, ...] = ()
    stack_height_mm: float | None = None
    stack_with_shims: bool = False

    @property
    def shim_total_mm(self) -> float:
        """Sum of the shims."""
        return sum(self.shims_mm)


@dataclass(frozen=True, slots=True)
class Build:
    """Both sides as fitted, and the state they are in."""

    left: SideBuild
    right: SideBuild
    plate_state: PlateState | None = None
    closure: str | None = None
    oil: str | None = None

    @property
    def sides(self) -> tuple[SideBuild, SideBuild]:
        """Left and right."""
        return self.left, self.right


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One series that was pulled. A pull in which nothing held is 0."""

    build: Build
    arrangement: str
    breakaway_nm: tuple[float, ...] = ()
    sliding_nm: tuple[float, ...] = ()
    end_play_mm: tuple[float, float] | None = None
    note: str = ""
    first_step_nm: tuple[float, ...] = ()
    """First steps of traces whose packs let go one after the other (TRADE.md 2.2)."""


@dataclass(frozen=True, slots=True)
class Space:
    """The room that was measured; which fields count depends on the form."""

    form: SpaceForm
    case_depth_mm: tuple[float, float] = (0.0, 0.0)
    gear_height_mm: tuple[float, float] = (0.0, 0.0)
    overlap_mm: float = 0.0
    centre_mm: float = 0.0
    edge_to_plate_mm: float = 0.0
    cover_boss_mm: float = 0.0
    measured_with_shims_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class SpringBlock:
    """Coil or S springs between the side gears. `fitted_length_mm`: with the shims of the first series, or those fitted."""

    count: int
    rate_n_per_mm: float
    free_length_mm: float
    fitted_length_mm: float


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Standard uncertainties of what was measured; the defaults are PACK.md's. Lengths in mm, torque relative."""

    plate_mm: float = 0.004
    plate_common_mm: float = 0.003
    spring_thickness_mm: float = 0.006
    free_height_mm: float = 0.02
    depth_mm: float = 0.012
    shim_mm: float = 0.004
    stack_height_mm: float = 0.012
    end_play_mm: float = 0.012
    torque: float = 0.01


@dataclass(frozen=True, slots=True)
class Pack:
    """A pack sheet."""

    unit: str
    now: Build
    arrangement: str
    face_outer_mm: float
    face_inner_mm: float
    plates: Mapping[str, Plate] = field(default_factory=dict)
    springs: Mapping[str, CupSpring] = field(default_factory=dict)
    space: Space | None = None
    block: SpringBlock | None = None
    history: tuple[HistoryEntry, ...] = ()
    uncertainty: Uncertainty = field(default_factory=Uncertainty)


@dataclass(frozen=True, slots=True)
class CardWindow:
    """A window of the card with what it is stated for; `also_printed_nm` is the page's second unit, converted."""

    window: Window
    arrangement: str | None = None
    plate_state: PlateState | None = None
    also_printed_nm: tuple[float | None, float | None] | None = None


@dataclass(frozen=True, slots=True)
class CardLimits:
    """Limits of the card in mm; None where the card has none."""

    wear_mm: float | None = None
    flatness_mm: float | None = None
    thickness_min_inner_mm: float | None = None
    thickness_min_outer_mm: float | None = None
    left_right_mm: float | None = None
    clearance_mm: tuple[float, float] | None = None
    end_play_mm: tuple[float, float] | None = None
    share_of_flat: float = 0.90
    """PACK.md's default."""


@dataclass(frozen=True, slots=True)
class CardSprings:
    """The springs as the card has them, new."""

    per_side: int | None = None
    stack: str | None = None
    outer_diameter_mm: float | None = None
    inner_diameter_mm: float | None = None
    thickness_mm: float | None = None
    free_height_mm: float | None = None


@dataclass(frozen=True, slots=True)
class SpecCard:
    """A spec card."""

    windows: tuple[CardWindow, ...]
    layout: Layout
    sense: Sense
    limits: CardLimits = field(default_factory=CardLimits)
    shim_sides: tuple[str, ...] = SIDES
    shims_per_side: int | None = None
    shims_total_max_mm: float | None = None
    faces_per_side: int | None = None
    plates_per_side: int | None = None
    ramps_deg: float | None = None
    ratio: float | None = None
    springs: CardSprings = field(default_factory=CardSprings)
    block_free_length_mm: float | None = None
    block_rate_n_per_mm: float | None = None
    has_limits: bool = True
    page: str = ""


@dataclass(frozen=True, slots=True)
class Stocked:
    """Parts of one kind in stock."""

    count: int
    shim_mm: float | None = None
    plate: Plate | None = None
    spring: CupSpring | None = None


@dataclass(frozen=True, slots=True)
class Shelf:
    """What is in stock; what is fitted now comes on top."""

    shims: tuple[Stocked, ...] = ()
    plates: tuple[Stocked, ...] = ()
    springs: tuple[Stocked, ...] = ()
