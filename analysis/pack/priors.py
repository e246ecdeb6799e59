"""Every number the inference starts from, with its reason.

Most are estimates of the trade (issue text and TRADE.md; 'from memory' where no source stands): they set how wide an answer is
before a unit has been pulled, and fade as its own history grows. The shop's own history (`shop.py`) replaces what it can.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Range:
    """A quantity of which only the limits are known: rectangular between them."""

    low: float
    high: float

    @property
    def mean(self) -> float:
        """Middle of the range."""
        return 0.5 * (self.low + self.high)

    @property
    def sd(self) -> float:
        """Standard deviation of the rectangle (JCGM 100, 4.3.7)."""
        return (self.high - self.low) / math.sqrt(12.0)


@dataclass(frozen=True, slots=True)
class OilPrior:
    """Friction of oiled plates at breakaway, and breakaway over sliding; medians."""

    friction: float
    break_over_slide: float


OILS: dict[str, OilPrior] = {
    "modified": OilPrior(0.105, 1.02),
    "plain": OilPrior(0.130, 1.12),
    "strong": OilPrior(0.088, 0.99),
    "spent": OilPrior(0.140, 1.18),
}
"""Within 0.08 to 0.15 (TRADE.md, textbook range; wet-clutch test standards assume 0.13). Modified oils fall with slowing
sliding, plain and spent ones rise (TRADE.md 4), so breakaway over sliding follows friction. From memory."""

FRICTION_REL_SD = 0.14
"""Scatter of friction from pack to pack with one oil; the trade tells 12 to 16 %."""

BETWEEN_OILS = 0.5
"""Part of that variance which lies between brands and shops, and which the shop's own units replace (from memory)."""

BREAK_OVER_SLIDE_SD = 0.05
"""Scatter of that ratio from pack to pack, of its logarithm; 3 to 8 % told, from memory."""

PULL_TO_PULL = Range(0.03, 0.08)
"""Relative scatter of one pull (TRADE.md 6: same unit, same hour, 3 to 8 %)."""

PULL_BASIS_SD = 0.012
"""What breakaway and sliding of one pull do not share: a pull that reads high does so in both. From memory."""

SHOP_DEGREES_MOST = 8.0
"""A shop's scatter, however well it is known, counts as so many degrees of freedom: the next unit has one of its own."""

SHOP_SCATTER = Range(0.005, 0.25)
"""What such a scatter can be; a book that tells other things holds something else."""

SHOP_SLOPE_SD = 0.3
"""Relative spread of what a mm of shim does over units of one kind: they stand differently far to flat (from memory)."""

REBUILD_TO_REBUILD = Range(0.02, 0.05)
"""Relative scatter of the mean from one assembly to the next: plates seat anew. From memory."""

SPRING_LOT_MEAN = 0.02
"""Springs come out a little over the formula: EN 16983 allows +15/-7.5 % of load, makers aim at the middle, use takes some back."""

SPRING_LOT_SD = 0.045
"""The same tolerance as a standard deviation."""

CURVE_SD = 0.02
"""Where a spring's curve was measured instead: the press' own uncertainty (from memory)."""

END_FRICTION = Range(0.01, 0.04)
"""Share of the load that friction at the ends of a stack adds on closing (EN 16984's w_R; from memory)."""

NESTED_FRICTION = Range(0.002, 0.02)
"""Share that each nested pair adds on closing (EN 16984's w_M; from memory)."""

LATE_RISE = Range(0.03, 0.15)
"""At flat the load is 3 to 15 % above the formula (issue text; EN 16984 says only that it rises past 75 %)."""

RUN_IN_NEW = (0.05, 0.04)
"""Mean and standard deviation of the log by which new plates read higher before they have run in (from memory)."""

RUN_IN_FADES = Range(0.1, 0.7)
"""Share of what is left of that excess which a series of pulls takes away: 10 to 50 slow turns run a pack in (TRADE.md 1, low)."""

RUN_IN_USED = (0.0, 0.02)
"""The same for plates that have run in."""

STACK_STIFFNESS_N_PER_MM = Range(60_000.0, 200_000.0)
"""An oiled stack pressed flat still yields: waviness, oil film, case (from memory)."""

SEATING_MM = Range(0.0, 0.03)
"""What a side loses when the parts seat at the first closing (from memory)."""

STANDS_ON_HIGH_SPOTS = Range(0.0, 0.6)
"""Plates stand on their high spots: share of thickest less mean reading by which a stack is taller than the means."""

CLOSING_REPEAT_MM = 0.006
"""Standard deviation of the gap from one closing to the next (from memory)."""

FINAL_CLOSURE_MM = Range(0.0, 0.03)
"""How much more a space closes with every bolt at its torque than with two or three screws (PACK.md 4)."""

SPRING_LOT_THICKNESS_MM = 0.012
"""Spread of thickness within what a card calls one spring: a measured thickness leans a little towards the card's."""

SHARE_UNKNOWN = Range(0.25, 0.90)
"""Deflection over cone height of the first stack that was pulled, where no space was measured (PACK.md 1)."""

SIDES_ALIKE_MM = 0.06
"""Without a space: left and right springs are deflected alike within this, either way (PACK.md 1)."""

STACK_HEIGHT_COMMON_MM = 0.0097
"""Of the 0.012 mm of a stack height: the tool's part, the same in all heights of a sheet (PACK.md 1)."""
STACK_HEIGHT_DEFAULT_MM = 0.012
"""What the common part above belongs to."""

UNKNOWN_PLATES_MM = 0.03
"""Plates exchanged and never measured: their stack heights differ by this (grade step 0.1 mm, sorted by hand)."""

WRONG_ARRANGEMENT = 0.02
"""Chance that a series was pulled in another arrangement than written: A for B is a factor two, and easy to do (TRADE.md 2.1)."""

ODD_FRICTION = 0.06
"""Chance that friction is nothing like the oil's: glazed, overdosed, dry in places, another oil than told (TRADE.md 2.6)."""

ODD_FRICTION_SD = 0.35
"""How far, as a standard deviation of the log: half or twice is met, and a factor of 1.5 is no rarity."""

WRONG_SPACE = 0.003
"""Chance that a measured space is off by far more than its uncertainty says: a slipped straightedge, a shim forgotten."""

TAILS_WITHOUT_SPACE = 0.25
"""Without a measured space another travel of the springs explains what odd friction or a mistaken arrangement would."""

FREE_OTHER_CAUSE = 0.05
"""Chance that a unit reads free for a reason that the sheet does not hold: a spring left out, the held side not engaged."""

FREE_BELOW_NM = 1.0
"""A value under this counts as free (PACK.md 4)."""

WITHOUT_SPACE = 4
"""Times as many first draws where no space was measured: far fewer of them agree with the pulls."""

USUAL_PULLS = 5
"""Pulls of the next series, where no series was pulled yet."""

TWICE_EXCESS = 0.05
"""A holds both packs, B one against the other: twice the torque, and a twentieth more by the ramps (PACK.md 2)."""
