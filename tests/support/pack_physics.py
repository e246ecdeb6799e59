"""Cup springs, plate stacks and friction torque for simulated units, from the textbooks: written apart from `analysis`, which is
tested against it.

Sources: load of a coned disc after Almen and Laszlo (Trans. ASME 58, 1936, 305-314), the equation of EN 16984; a stack of nested
discs adds loads, groups set
against each other add deflections (EN 16984); mean radius for even pressure, any machine-design text on clutches; the bench's
energy balance as
`balance_nm` derives it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEEL_E_N_MM2 = 206_000.0
STEEL_NU = 0.3
SOLID_N_MM = 500_000.0  # a disc pressed flat is a block of steel beside which the plates yield: from memory, any large value serves
LATE_SHARE = 0.75  # contact edges move inward from here on (EN 16984 ends at 75 % of flat)
GRID = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A cup spring as it is, not as it was measured. `strength` multiplies the load of the equation."""

    outer_mm: float
    inner_mm: float
    thickness_mm: float
    free_mm: float
    strength: float = 1.0

    @property
    def cone_mm(self) -> float:
        return self.free_mm - self.thickness_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Yielding:
    """What makes a real stack differ from the equation on paper."""

    late: float = 0.0  # share by which the load at flat exceeds the equation's
    late_power: float = 1.0
    end_friction: float = 0.0
    nest_friction: float = 0.0  # for each nested pair
    plates_n_mm: float = np.inf  # stiffness of plates, walls and rings beside the springs


def disc_load_n(disc: Disc, deflection_mm: Array | float, yielding: Yielding | None = None) -> Array:
    """Load of one disc in N at deflections in mm; beyond flat a block of steel."""
    late = yielding or Yielding()
    deflection = np.maximum(np.asarray(deflection_mm, dtype=float), 0.0)
    cone, thick = disc.cone_mm, disc.thickness_mm
    if cone <= 0:
        return SOLID_N_MM * deflection
    ratio = disc.outer_mm / disc.inner_mm
    form = ((ratio - 1) / ratio) ** 2 / (np.pi * ((ratio + 1) / (ratio - 1) - 2 / np.log(ratio)))
    bent = np.minimum(deflection, cone)
    # Almen-Laszlo, in lengths: 4E/(1-nu^2) s t/(K1 De^2) [(h - s)(h - s/2) + t^2]
    load = (
        4
        * STEEL_E_N_MM2
        / (1 - STEEL_NU**2)
        * bent
        * thick
        / (form * disc.outer_mm**2)
        * ((cone - bent) * (cone - bent / 2) + thick**2)
    )
    excess = np.clip((bent / cone - LATE_SHARE) / (1 - LATE_SHARE), 0, 1) ** late.late_power
    return disc.strength * load * (1 + late.late * excess) + SOLID_N_MM * (deflection - bent)


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """The springs of one side and the plates they press on, as one curve: load against how far the whole is closed from just
    touching."""

    closing_mm: Array
    load_n: Array
    shares: Array  # (groups, points): deflection over cone height, by group of nested discs
    free_mm: float
    cone_mm: float  # travel to flat, all groups together


def groups_of(signs: str) -> list[list[int]]:
    """Indices of nested discs, group by group: equal neighbours are nested."""
    groups: list[list[int]] = []
    for index, sign in enumerate(signs):
        if index and sign == signs[index - 1]:
            groups[-1].append(index)
        else:
            groups.append([index])
    return groups


def column(discs: tuple[Disc, ...], signs: str, yielding: Yielding) -> Column:
    """Curve of a stack of discs with the plates beside it."""
    groups = groups_of(signs)
    tables = []
    for group in groups:
        cone = max(float(np.mean([discs[i].cone_mm for i in group])), 1e-6)
        bent = np.concatenate([np.linspace(0, cone, GRID), cone + np.linspace(0.002, 0.2, 20)])
        # Nested discs of unequal cones come flat together: each bends by its own share.
        load = sum(
            (disc_load_n(discs[i], np.minimum(bent, cone) * discs[i].cone_mm / cone, yielding) for i in group), np.zeros_like(bent)
        )
        load = load + SOLID_N_MM * np.maximum(bent - cone, 0.0)
        pressed = load * (1 + yielding.end_friction + yielding.nest_friction * (len(group) - 1))
        tables.append((cone, bent, np.maximum.accumulate(pressed)))
    top = 1.3 * min(float(table[2][GRID - 1]) for table in tables) + 2000.0
    load_n = np.linspace(0.0, top, 4 * GRID)
    bents = np.array([np.interp(load_n, pressed, bent) for _, bent, pressed in tables])
    cones = np.array([[cone] for cone, _, _ in tables])
    free = sum(cone + sum(discs[i].thickness_mm for i in group) for (cone, _, _), group in zip(tables, groups, strict=True))
    return Column(
        closing_mm=bents.sum(axis=0) + load_n / yielding.plates_n_mm,
        load_n=load_n,
        shares=bents / cones,
        free_mm=free,
        cone_mm=float(cones.sum()),
    )


def mean_radius_mm(outer_diameter_mm: float, inner_diameter_mm: float) -> float:
    """Radius at which friction acts under even pressure."""
    outer, inner = outer_diameter_mm / 2, inner_diameter_mm / 2
    return 2 / 3 * (outer**3 - inner**3) / (outer**2 - inner**2)


def faces_of(kinds: tuple[str, ...]) -> int:
    """Rubbing faces of a pack: where an inner plate meets what turns with the case (outer plates, and wall or ring at the ends)."""
    row = ("outer", *kinds, "outer")
    return sum(one != other for one, other in pairwise(row))


def balance_nm(left_nm: float, right_nm: float, arrangement: str, ramp: float = 0.0) -> float:
    """Reading by work done: both packs slip at half the lever's speed with the case free (A), at the lever's speed with it held or
    driven (B, D).

    `ramp` is what the pressure rings add where the cross pin is loaded.
    """
    if arrangement == "A":
        return (left_nm + right_nm) / 2
    return (left_nm + right_nm) * (1 + ramp)
