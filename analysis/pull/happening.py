"""What is under way at the bench, as it is seen block by block, and what it was: a pull, a free turn, or neither."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

from analysis.pull.events import FinderRules, NoPullKind

SLACK_OF_BLOCKS = 10
"""A block may last a tenth of its time longer than it should: stamps are not even."""


@dataclass(frozen=True, slots=True)
class Block:
    """A block of the stream: its span, mean torque, angle so far (jumps left out), turn within it, whether the encoder jumped."""

    from_s: float
    to_s: float
    torque_nm: float
    angle_deg: float | None
    turn_deg: float
    jumped: bool


@dataclass(frozen=True, slots=True)
class Limits:
    """What this sensor makes of the rules now: least torque of a pull, of a load that turns nothing, encoder's step."""

    pull_nm: float
    lean_nm: float
    step_deg: float


@dataclass(slots=True)
class Happening:
    """What is under way: since when, how high, how far it turned, how long it was loaded.

    `proven`: a rest was seen before it. `tail` are its last blocks, since the torque came to a level of its own.
    """

    began_s: float
    zero_nm: float
    proven: bool
    angle_from_deg: float | None
    highest_nm: float = -math.inf
    lowest_nm: float = math.inf
    last_nm: float = 0.0
    net_deg: float = 0.0
    path_deg: float = 0.0
    farthest_deg: float = 0.0
    moving_s: float = 0.0
    loaded_net_deg: float = 0.0
    loaded_path_deg: float = 0.0
    loaded_s: float = 0.0
    impulse: float = 0.0
    impulse_size: float = 0.0
    jumps: int = 0
    announced: bool = False
    rest_since_s: float | None = None
    early_told: bool = False
    steady_since_s: float | None = None
    steady_nm: float = 0.0
    tail: deque[Block] = field(default_factory=deque)

    @property
    def peak_nm(self) -> float:
        """The furthest from zero so far."""
        return max(self.highest_nm - self.zero_nm, self.zero_nm - self.lowest_nm, 0.0)

    def note(self, block: Block, limits: Limits, rules: FinderRules) -> None:
        """Take a block into account: how high, how far, how long.

        Parameters
        ----------
        block
            The next block of the stream.
        limits
            From half the least torque of a pull on the block counts as loaded.
        rules
            Thresholds of the finder.
        """
        off_nm = block.torque_nm - self.zero_nm
        self.highest_nm, self.lowest_nm = max(self.highest_nm, block.torque_nm), min(self.lowest_nm, block.torque_nm)
        self.last_nm = block.torque_nm
        took_s = min(block.to_s - block.from_s + rules.block_s / SLACK_OF_BLOCKS, rules.block_s)
        self.net_deg += block.turn_deg
        self.path_deg += abs(block.turn_deg)
        self.farthest_deg = max(self.farthest_deg, abs(self.net_deg))
        self.moving_s += took_s if block.turn_deg else 0.0
        self.jumps += block.jumped
        if abs(off_nm) >= 0.5 * limits.pull_nm:
            self.loaded_s += took_s
            self.loaded_net_deg += block.turn_deg
            self.loaded_path_deg += abs(block.turn_deg)
            self.impulse += off_nm * took_s
            self.impulse_size += abs(off_nm) * took_s

    def worth_recording(self, limits: Limits, rules: FinderRules) -> bool:
        """Whether it may become a pull or a free turn.

        Parameters
        ----------
        limits
            Least torque of a pull, N.m.
        rules
            Thresholds of the finder.

        Returns
        -------
        bool
            True once it was loaded for long enough, or turned far enough one way.
        """
        # A knock or a zero that steps leaves the angle as it is; a hand winds the lever up.
        stirred = self.angle_from_deg is None or abs(self.net_deg) >= rules.stirred_deg
        loaded = self.peak_nm >= limits.pull_nm and self.loaded_s >= (rules.load_s if stirred else rules.lean_s)
        turned = abs(self.net_deg) >= rules.travel_deg and abs(self.net_deg) >= rules.free_one_way * self.path_deg
        return loaded or (turned and self.moving_s >= rules.load_s)

    def is_pull(self, limits: Limits, rules: FinderRules) -> bool:
        """Whether torque rose and the angle went on under it, one way.

        Parameters
        ----------
        limits
            Least torque of a pull, N.m, and the encoder's step, deg.
        rules
            Thresholds of the finder.

        Returns
        -------
        bool
            Where the bench has no angle the torque alone tells.
        """
        if self.peak_nm < limits.pull_nm or self.loaded_s < rules.load_s:
            return False
        if abs(self.impulse) < rules.one_sided * self.impulse_size:
            return False
        if self.angle_from_deg is None:
            return True
        on = abs(self.loaded_net_deg)
        return on >= max(rules.gone_on_deg, rules.steps * limits.step_deg) and on >= rules.one_way * self.loaded_path_deg

    def held(self, limits: Limits, rules: FinderRules, *, came_back: bool) -> bool:
        """Whether a hand loaded the lever well and let go again, and the plates held.

        Parameters
        ----------
        limits
            Least torque of a load that turns nothing, N.m.
        rules
            Thresholds of the finder.
        came_back
            The torque ended at the zero it began from, or the stream ended before that could be seen.

        Returns
        -------
        bool
            Asked after `is_pull`: whether the angle went on is not looked at.
        """
        return (
            came_back
            and self.peak_nm >= limits.lean_nm
            and self.loaded_s >= rules.lean_s
            and abs(self.impulse) >= rules.one_sided * self.impulse_size
        )

    def turned_free(self, limits: Limits, rules: FinderRules) -> bool:
        """Whether the unit was turned one way at hand speed, after a rest, and nothing held.

        Parameters
        ----------
        limits
            Least torque of a pull, N.m.
        rules
            Thresholds of the finder.

        Returns
        -------
        bool
            Never true without an angle.
        """
        turned = abs(self.net_deg)
        return (
            self.proven
            and turned >= rules.free_deg
            and turned >= rules.free_one_way * self.path_deg
            and self.moving_s >= rules.free_s
            and turned <= rules.free_fastest_deg_s * self.moving_s
            and (self.peak_nm < limits.pull_nm or self.loaded_s < rules.load_s)
        )

    def worth_a_word(self, limits: Limits, rules: FinderRules) -> bool:
        """Whether it is told at all; a hand laid on the lever or a draught is not.

        Parameters
        ----------
        limits
            Least torque of a pull, N.m.
        rules
            Thresholds of the finder.

        Returns
        -------
        bool
            True where it was announced, reached the torque of a pull, turned far, or the encoder jumped.
        """
        return self.announced or self.peak_nm >= limits.pull_nm or self.jumps > 0 or self.farthest_deg >= rules.travel_deg

    def kind(self, limits: Limits, rules: FinderRules, *, came_back: bool) -> NoPullKind:
        """What it was, being no pull.

        Parameters
        ----------
        limits
            Least torque of a pull, N.m.
        rules
            Thresholds of the finder.
        came_back
            The torque ended at the zero it began from, or the stream ended before that could be seen.

        Returns
        -------
        NoPullKind
            The first that fits: carried about, a jump of the encoder, a level at rest that moved, a lever leaned on, a knock.
        """
        if self.farthest_deg >= rules.travel_deg and self.moving_s >= rules.load_s:
            return NoPullKind.CARRIED
        if self.peak_nm < limits.pull_nm:
            return NoPullKind.ANGLE_JUMP
        if not came_back:
            return NoPullKind.REST_MOVED
        return NoPullKind.LEANED_ON if self.loaded_s >= rules.lean_s else NoPullKind.KNOCK
