"""A sheet and a card together: what of a build follows without any doubt."""

from __future__ import annotations

from dataclasses import dataclass, field

from analysis.pack import priors
from analysis.pack.arrangement import Layout
from analysis.pack.parts import Build, Pack, Sense, SpaceForm, SpecCard
from analysis.pack.shop import ShopHistory
from analysis.pack.stack import StackHeight, count_faces, has_height_everywhere, kind_of, mean_radius_pressure_mm, stack_height


@dataclass(frozen=True, slots=True)
class Unit:
    """A sheet and a card together: the unit whose builds are reckoned."""

    pack: Pack
    card: SpecCard
    shop: ShopHistory = field(default_factory=ShopHistory)
    """What the shop's own jobs told; empty: the priors alone."""

    @property
    def radius_mm(self) -> float:
        """Mean friction radius; fresh oiled faces of this width: uniform pressure (within 1.5 % of uniform wear)."""
        return mean_radius_pressure_mm(0.5 * self.pack.face_outer_mm, 0.5 * self.pack.face_inner_mm)

    @property
    def through(self) -> bool:
        """One line across."""
        return self.card.layout is Layout.THROUGH

    @property
    def block(self) -> bool:
        """Springs between the side gears."""
        return self.card.layout is Layout.BLOCK

    @property
    def sense(self) -> float:
        """Interference gained per mm of shim."""
        return -1.0 if self.card.sense is Sense.LESS_PRELOAD else 1.0

    @property
    def reference(self) -> Build:
        """The build whose share of flat is guessed where no space was measured: the first that was pulled."""
        return self.pack.history[0].build if self.pack.history else self.pack.now

    def faces(self, build: Build) -> tuple[int, int]:
        """Rubbing faces, left and right."""
        left, right = (count_faces([kind_of(name, self.pack.plates) for name in side.plates]) for side in build.sides)
        return left, right

    def heights(self, build: Build) -> tuple[StackHeight, StackHeight]:
        """Stack heights, left and right."""
        prefer = has_height_everywhere(self.pack)
        left, right = (
            stack_height(name, side, self.pack, build.plate_state, prefer_height=prefer)
            for name, side in zip(("left", "right"), build.sides, strict=True)
        )
        return left, right

    @property
    def tails(self) -> float:
        """How much of the chance of odd friction and of a mistaken arrangement counts."""
        return 1.0 if self.space_counts or self.block else priors.TAILS_WITHOUT_SPACE

    @property
    def space_counts(self) -> bool:
        """Whether the measured space says how far the springs are pressed."""
        space = self.pack.space
        if space is None or self.block:
            return False
        if space.form is SpaceForm.COVER:
            return True
        return all(height.source != "unknown" for height in self.heights(self.pack.now))
