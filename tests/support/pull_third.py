"""A third set of pulls, written from the trade's physics apart from the reading and from the other simulators here.

An integrator of its own (hand, lever, adaptor with play, one or two packs, a vice that may slip; Coulomb friction by projection),
a sensor of its own, and truth taken from the plates' motion by the contract's definitions. `third(n, seed)` draws them.

`expert` of a kind says what a person with the curve before him could do: `reads` (the value is in the curve), `wide` (only with a
wide interval or a code), `code` (the value is not in the curve as it stands: a code, or no value, is the honest answer). `known`
half-widths are only those of the definition (where sliding may begin and end), never what a sensor hid: that is for the interval.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.signal import lfilter
from support.pull_sensor import SimPull
from support.pull_truth import Truth

from analysis.results import Sensor
from analysis.trace import Trace

Floats = NDArray[np.float64]

STEP_S = 1e-4
SLIPPED_RAD = float(np.radians(0.1))  # of one pack: more than plates give before they let go
BOTH_SLIPPED_RAD = float(np.radians(0.3))  # of the second pack
SETTLED_DEG = 2.0
LEAST_SLIPS = 4
FOOT_POUND_NM = 1.3558179483314004  # lbf.ft, exact
KILOPOND_METRE_NM = 9.80665  # kgf.m, exact


@dataclass
class Draft:
    """One pull as drawn; a kind changes what it is about. Torques N.m, angles deg, at the hand's side."""

    rng: Generator
    slide_nm: float
    excess: float  # of the first slip over sliding, forgotten over memory_deg of slip
    memory_deg: float
    fall: float = 0.0  # of friction with speed: over 0.05 it sticks and slips
    fall_deg_s: float = 4.0
    falls_from_deg: float = 0.0  # slip after which the fall is there
    viscous_nm_s: float = 0.0  # per rad/s
    ripple: float = 0.0
    ripple_per_turn: float = 0.0
    warm: float = 0.0  # share lost while sliding
    warm_deg: float = 100.0
    bond: float = 0.0  # one spot that sticks: share above sliding, once
    bond_at_deg: float = 0.0
    second: float = 0.0  # share of the torque that the second pack carries, after the lash
    lash_deg: float = 0.0
    heals_s: float = 60.0
    hand_nm_rad: float = 600.0
    lever_kg_m2: float = 0.08
    adaptor_nm_rad: float = 2000.0
    rotor_kg_m2: float = 0.004
    play_deg: float = 0.0
    weight_nm: float = 0.0  # of the lever, level
    weight_at_deg: float = 0.0  # its angle from level at the start
    moves: list[tuple[float, float, float]] = field(default_factory=list)  # seconds, deg/s, grip
    vice: list[tuple[float, float]] = field(default_factory=list)  # share of the load, deg
    rate_hz: float = 500.0
    torque_step_nm: float = 0.01
    angle_step_deg: float | None = 0.1
    noise_nm: float = 0.05
    capacity_nm: float | None = 200.0
    loaded: float = 0.0
    marks: dict[str, float] = field(default_factory=dict)
    backwards: bool = False

    @property
    def let_go_nm(self) -> float:
        return self.slide_nm * (1 + max(self.excess, self.fall if self.falls_from_deg == 0 else 0.0))

    @property
    def wind_up_deg(self) -> float:
        """Of hand and adaptor together at the breakaway."""
        return float(np.degrees(self.let_go_nm * (1 / self.hand_nm_rad + 1 / self.adaptor_nm_rad)))

    def mark(self, name: str) -> None:
        self.marks[name] = sum(s for s, _, _ in self.moves)

    def rest(self, seconds: float) -> None:
        self.moves.append((seconds, 0.0, 0.0))

    def load(self, share: float, seconds: float, play: bool = False) -> None:
        """Wind up (or down) to a share of the breakaway."""
        way = (share - self.loaded) * self.wind_up_deg + (self.play_deg if play else 0.0)
        self.moves.append((seconds, way / seconds, 1.0))
        self.loaded = share

    def hold(self, seconds: float) -> None:
        self.moves.append((seconds, 0.0, 1.0))

    def turn(self, degrees: float, deg_s: float) -> None:
        self.moves.append((abs(degrees / deg_s), deg_s, 1.0))

    def let_go(self, seconds: float = 0.05) -> None:
        self.moves.append((seconds, 0.0, 0.5))
        self.loaded = 0.0


@dataclass
class Seen:
    """What the sensor makes of it; a kind's faults change it."""

    draft: Draft
    rng: Generator
    time_s: Floats
    torque_nm: Floats
    angle_deg: Floats | None
    truth: Truth
    step_nm: float
    capacity_nm: float | None
    changes: dict[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Kind:
    """How a kind is drawn and seen, and what an expert could say of it."""

    draw: Callable[[Draft], None]
    see: tuple[Callable[[Seen], None], ...] = ()
    expert: str = "reads"
    remark: str = ""
    turns: bool = True  # False: nothing lets go, or nothing holds


@dataclass(frozen=True)
class Moved:
    """Noise-free motion on the integrator's clock."""

    torque_nm: Floats
    lever_rad: Floats
    slip_rad: Floats
    second_rad: Floats
    gone: Floats  # what is left of the first slip's excess
    speed: Floats
    grip: Floats


def usual(rng: Generator) -> Draft:
    """An ordinary unit on an ordinary bench; the plan of the hand is the kind's."""

    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    return Draft(
        rng, slide_nm=between(15, 110), excess=rng.uniform(0.02, 0.18), memory_deg=between(0.2, 1.5),
        hand_nm_rad=between(400, 900), lever_kg_m2=between(0.05, 0.12), adaptor_nm_rad=between(1000, 3000),
        rotor_kg_m2=between(0.002, 0.006), play_deg=rng.uniform(0, 3), rate_hz=float(rng.choice([100, 200, 500, 1000])),
        torque_step_nm=float(rng.choice([0.01, 0.05, 0.1])), angle_step_deg=float(rng.choice([0.05, 0.1, 0.5])),
        noise_nm=between(0.02, 0.15), capacity_nm=float(rng.choice([200, 300, 500])),
    )  # fmt: skip


def plain(d: Draft, travel_deg: float | None = None, deg_s: float | None = None, ramp_s: float | None = None) -> None:
    """Rest, wind up, turn, let go, rest."""
    rng = d.rng
    deg_s = deg_s or float(np.exp(rng.uniform(np.log(5), np.log(30))))
    d.rest(rng.uniform(0.8, 1.5))
    d.load(0.9, ramp_s or rng.uniform(0.8, 2.0), play=True)
    d.mark("turns")
    d.turn((travel_deg or rng.uniform(40, 110)) + 0.1 * d.wind_up_deg, deg_s)
    d.mark("stops")
    if rng.random() < 0.5:
        d.hold(rng.uniform(0.05, 0.3))
    d.let_go()
    d.rest(rng.uniform(0.8, 1.5))


def _commands(d: Draft) -> tuple[Floats, Floats, Floats]:
    """Speed rad/s, grip and the vice's way rad, on the integrator's clock."""
    speed = np.concatenate([np.full(round(s / STEP_S), v) for s, v, _ in d.moves])
    grip = np.concatenate([np.full(round(s / STEP_S), g) for s, _, g in d.moves])
    soft = uniform_filter1d(speed, round(d.rng.uniform(0.03, 0.08) / STEP_S), mode="nearest")
    # A hand is not a motor: its speed wavers by a tenth, slower than 2 Hz.
    coarse = lfilter([0.06], [1, -0.94], d.rng.standard_normal(soft.size // 100 + 2)) * 0.5
    waver = np.interp(np.arange(soft.size) / 100, np.arange(coarse.size), coarse)
    shaky = grip == 0.5
    grip[shaky] = np.concatenate([np.linspace(1, 0, run) for run in _runs(shaky)]) if shaky.any() else 0.0
    vice = np.zeros(speed.size)
    for at_s, degrees in d.vice:
        ramp = np.clip((np.arange(speed.size) * STEP_S - at_s) / 0.02, 0, 1)
        vice += np.radians(degrees) * (1 - np.cos(np.pi * ramp)) / 2
    return np.radians(soft * (1 + waver)), grip, vice


def _runs(flags: NDArray[np.bool_]) -> list[int]:
    edges = np.flatnonzero(np.diff(flags.astype(np.int8), prepend=0, append=0))
    return [int(b - a) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def turn_all(drafts: Sequence[Draft]) -> list[Moved]:
    """Integrate several pulls side by side (semi-implicit Euler; friction stops a body or is overcome, never reverses it)."""
    plans = [_commands(d) for d in drafts]
    size = max(p[0].size for p in plans)
    speed, grip, vice = (np.stack([np.pad(p[i], (0, size - p[i].size), mode="edge") for p in plans]).T.copy() for i in range(3))
    slip_speed_vice = np.diff(vice, axis=0, prepend=vice[:1]) / STEP_S
    col = {name: np.array([getattr(d, name) for d in drafts]) for name in Draft.__dataclass_fields__
           if isinstance(getattr(drafts[0], name), float) and name != "capacity_nm"}  # fmt: skip
    kh, ka, jl, jr = col["hand_nm_rad"], col["adaptor_nm_rad"], col["lever_kg_m2"], col["rotor_kg_m2"]
    ch, ca = 0.5 * np.sqrt(kh * jl), 0.1 * np.sqrt(ka * jr)
    play, lash = np.radians(col["play_deg"]), np.radians(col["lash_deg"])
    memory, fall_speed = np.radians(col["memory_deg"]), np.radians(col["fall_deg_s"])
    warm_rad, from_rad, bond_rad = (np.radians(col[n]) for n in ("warm_deg", "falls_from_deg", "bond_at_deg"))
    hangs = np.radians(col["weight_at_deg"])
    two = col["second"] > 0
    k2 = np.where(two, 8000.0, 0.0)
    c2 = np.where(two, 0.3 * np.sqrt(8000.0 * jr), 0.0)
    n = len(drafts)
    hand, rotor, other = (np.zeros(n) for _ in range(3))
    held_nm = col["weight_nm"] * np.cos(hangs)  # the unit holds the lever up from the start
    lever = held_nm / ka + np.where(held_nm > 0, play, 0.0)
    vl, vr, vo = (np.zeros(n) for _ in range(3))
    excess_left, slipped, bonded = np.ones(n), np.zeros(n), np.ones(n)
    out = {name: np.empty((size, n), np.float32) for name in ("torque", "lever", "slip", "second", "gone")}
    for i in range(size):
        g = grip[i]
        hand = np.where(g > 0, hand + speed[i] * STEP_S, lever)
        twist = lever - rotor
        # Play lies on the side from which the load is taken off.
        engaged = np.where(twist > play, twist - play, np.minimum(twist, 0.0))
        touching = engaged != 0
        torque = ka * engaged + np.where(touching, ca * (vl - vr), 0.0)
        push = g * (kh * (hand - lever) + ch * (speed[i] - vl))
        weight = col["weight_nm"] * np.cos(hangs + lever)
        vl = vl + STEP_S * (push + weight - torque - 0.02 * vl - np.where(g > 0, 0.0, 0.6 * vl)) / jl
        gap = rotor - other
        between = np.where(gap > lash, gap - lash, np.minimum(gap, 0.0))
        inner = np.where(two & (between != 0), k2 * between + c2 * (vr - vo), 0.0)
        relative = vr - slip_speed_vice[i]
        fast = np.abs(relative)
        level = (
            1 + col["excess"] * excess_left
            + np.where(slipped >= from_rad, col["fall"] * np.exp(-fast / fall_speed), 0.0)
            + col["ripple"] * np.sin(col["ripple_per_turn"] * rotor + 1.0)
            - col["warm"] * (1 - np.exp(-slipped / warm_rad))
            + np.where((slipped >= bond_rad) & (col["bond"] > 0), col["bond"] * bonded, 0.0)
        )  # fmt: skip
        friction = col["slide_nm"] * level + col["viscous_nm_s"] * fast
        free = relative + STEP_S * (torque - inner) / jr
        stop = STEP_S * friction * (1 - col["second"]) / jr
        relative = np.sign(free) * np.maximum(np.abs(free) - stop, 0.0)
        vr = relative + slip_speed_vice[i]
        free_o = vo + STEP_S * inner / jr
        stop_o = STEP_S * friction * col["second"] / jr
        vo = np.where(two, np.sign(free_o) * np.maximum(np.abs(free_o) - stop_o, 0.0), 0.0)
        lever, rotor, other = lever + vl * STEP_S, rotor + vr * STEP_S, other + vo * STEP_S
        way = np.abs(relative) * STEP_S
        slipped = slipped + way
        # What has slipped forgets; what stands heals.
        done = np.where(two, np.abs(vo) * STEP_S, way)
        excess_left = (
            excess_left - excess_left * done / memory + np.where(done == 0, (1 - excess_left) * STEP_S / col["heals_s"], 0.0)
        )
        bonded = bonded - np.where((slipped >= bond_rad), bonded * way / np.radians(0.3), 0.0)
        for name, value in (("torque", torque), ("lever", lever), ("slip", slipped), ("second", other), ("gone", excess_left)):
            out[name][i] = value
    moved = []
    for j, p in enumerate(plans):
        end = p[0].size
        arrays = [out[name][:end, j].astype(float) for name in ("torque", "lever", "slip", "second", "gone")]
        moved.append(Moved(*arrays, p[0], p[1]))
    return moved


def truth_of(name: str, d: Draft, m: Moved, turns: bool) -> Truth:
    """The contract's figures, from the plates' motion."""
    if not turns:
        return Truth(kind=name, pull_found=False)
    turned, enough = (m.second_rad, BOTH_SLIPPED_RAD) if d.second else (m.slip_rad, SLIPPED_RAD)
    later = np.flatnonzero(turned >= enough)
    if not later.size:
        raise RuntimeError(f"{name}: never broke away")
    slip, begin = int(later[0]), 0
    if d.vice:
        # What the plates give in the knock when the vice catches again is not yet a sustained slip.
        begin = round((max(at_s for at_s, _ in d.vice) + 0.15) / STEP_S)
        slip = begin + int(np.argmax(m.slip_rad[begin:] >= m.slip_rad[begin] + SLIPPED_RAD))
    peak = begin + int(np.argmax(m.torque_nm[begin : slip + 1]))
    # A soft knee: the torque a little before and after what counts as slipped.
    around = [float(m.torque_nm[: int(np.argmax(turned >= share * enough)) + 1].max()) for share in (0.3, 3.0)]
    common = {
        "kind": name, "pull_found": True, "breakaway_nm": float(m.torque_nm[peak]), "breakaway_time_s": peak * STEP_S,
        "breakaway_known_nm": max(abs(a - float(m.torque_nm[peak])) for a in around) if d.viscous_nm_s else 0.0,
    }  # fmt: skip
    nominal = float(np.median(m.speed[slip:][m.grip[slip:] == 1])) if (m.grip[slip:] == 1).any() else 0.0
    quickest = max((v for _, v, g in d.moves if g == 1), default=0.0)
    moving = (m.speed > 0.1 * np.radians(max(np.degrees(nominal), 0.3 * quickest))) & (m.grip == 1)
    loose = np.flatnonzero(m.grip[slip:] < 0.5)
    last = slip + int(loose[0]) if loose.size else m.speed.size
    ends = np.flatnonzero(moving[:last])
    died = slip + int(np.argmax(m.gone[slip:] < 0.05)) if d.excess > 0 else slip
    start = _on(m, died, SETTLED_DEG)
    if not ends.size or start is None or ends[-1] - start < 0.15 / STEP_S:
        return Truth(**common)  # type: ignore[arg-type]
    end = int(ends[-1])
    if np.degrees(m.lever_rad[end] - m.lever_rad[start]) < 3:
        return Truth(**common)  # type: ignore[arg-type]
    moving = _slides_again(m, moving, 0.0)
    settled = _slides_again(m, moving, np.radians(SETTLED_DEG + 3 * d.memory_deg))
    value = _by_angle(m, moving, start, end)
    fair = [_by_angle(m, settled, start, end)]
    for begin in (_on(m, died, degrees) or start for degrees in (0.5, 5.0, 8.0)):
        fair += [_by_angle(m, moving, begin, stop) for stop in (end, end - 1000) if stop > begin + 500]
    by_time = float(m.torque_nm[start:end][moving[start:end]].mean())
    slips, heights = _slips(m, start, end, moving)
    chatter = len(slips) >= LEAST_SLIPS
    gaps = np.diff(slips) if chatter else np.zeros(1)
    everywhere = chatter and slips[0] - start < 3 * np.median(gaps) + 2000 and bool(gaps.max() < 4 * np.median(gaps))
    return Truth(
        **common,  # type: ignore[arg-type]
        sliding_nm=value, sliding_known_nm=max((abs(f - value) for f in fair), default=0.0),
        sliding_by_time_nm=by_time, sliding_other_nm=by_time if d.angle_step_deg is None else None,
        sliding_from_s=start * STEP_S, sliding_to_s=end * STEP_S,
        travel_deg=float(np.degrees(m.lever_rad[end] - m.lever_rad[start])), chatter=chatter,
        marginal=0 < len(slips) < LEAST_SLIPS and d.fall > 0, slip_times_s=tuple(s * STEP_S for s in slips),
        rate_hz=(len(slips) - 1) / (STEP_S * (slips[-1] - slips[0])) if chatter else None, rate_steady=everywhere,
        peak_to_peak_nm=float(np.median(heights)) if chatter else None,
    )  # fmt: skip


def _on(m: Moved, start: int, degrees: float) -> int | None:
    later = np.flatnonzero(m.lever_rad[start:] >= m.lever_rad[start] + np.radians(degrees))
    return start + int(later[0]) if later.size else None


def _slides_again(m: Moved, moving: NDArray[np.bool_], further_rad: float) -> NDArray[np.bool_]:
    """Without what the hand winds up anew after a stop, until the plates have slipped and turned so much further."""
    out = moving.copy()
    for at in np.flatnonzero(np.diff(moving.astype(np.int8), prepend=0) == 1).tolist():
        again = np.flatnonzero(m.slip_rad[at:] > m.slip_rad[at] + max(further_rad, 1e-4))
        out[at : at + int(again[0]) if again.size else out.size] = False
    return out


def _by_angle(m: Moved, moving: NDArray[np.bool_], start: int, end: int) -> float:
    way, torque = np.diff(m.lever_rad[start : end + 1]), m.torque_nm[start:end]
    keep = moving[start:end]
    return float((way * torque)[keep].sum() / way[keep].sum())


def _slips(m: Moved, start: int, end: int, moving: NDArray[np.bool_]) -> tuple[list[int], list[float]]:
    """Where plates that stood let go again while the hand went on, and by how much the torque then fell."""
    stands = np.diff(m.slip_rad[start : end + 1]) == 0
    edges = np.flatnonzero(np.diff(stands.astype(np.int8), prepend=0, append=0))
    ends = [
        start + int(b)
        for a, b in zip(edges[::2], edges[1::2], strict=True)
        if b - a >= 10 and start + b < end and moving[start + b]
    ]
    falls = [float(m.torque_nm[at] - m.torque_nm[at:upto].min()) for at, upto in zip(ends, [*ends, end][1:], strict=True)]
    least = max(0.01 * float(m.torque_nm[start:end].mean()), 0.2 * float(np.percentile(falls, 90))) if falls else 0.0
    kept = [(at, fall) for at, fall in zip(ends, falls, strict=True) if fall >= least]
    return [at for at, _ in kept], [fall for _, fall in kept]


def see(name: str, kind: Kind, d: Draft, m: Moved, seed: int) -> SimPull:
    """Through the sensor, its faults and its decimals; the direction is drawn."""
    rng = np.random.default_rng([seed, 33])
    clock = np.arange(m.torque_nm.size) * STEP_S
    time = np.arange(int((clock[-1] - STEP_S) * d.rate_hz)) / d.rate_hz + rng.uniform(0, STEP_S)
    s = Seen(
        d, rng, time, np.interp(time, clock, m.torque_nm),
        None if d.angle_step_deg is None else np.degrees(np.interp(time, clock, m.lever_rad)),
        truth_of(name, d, m, kind.turns), d.torque_step_nm, d.capacity_nm,
    )  # fmt: skip
    s.torque_nm = s.torque_nm + d.noise_nm * rng.standard_normal(time.size) + rng.uniform(-0.3, 0.3)
    for fault in kind.see:
        fault(s)
    torque = np.round(s.torque_nm / s.step_nm) * s.step_nm if s.step_nm else s.torque_nm
    angle = None
    if s.angle_deg is not None and d.angle_step_deg is not None:
        angle = np.round((s.angle_deg + rng.uniform(0, 50)) / d.angle_step_deg) * d.angle_step_deg
    way = -1 if rng.random() < 0.4 else 1
    if angle is not None:
        angle = angle * way * (-1 if d.backwards else 1)
    truth = Truth(**{**{f: getattr(s.truth, f) for f in Truth.__dataclass_fields__}, "direction": way, **s.changes})  # type: ignore[arg-type]
    u = float(rng.choice([0.0025, 0.005]))
    sensor = Sensor(u_relative=u, capacity_nm=s.capacity_nm)
    return SimPull(Trace(s.time_s, torque * way, angle), truth, sensor, float(u * rng.standard_normal()), seed)


def third(n: int, seed: int, kinds: Mapping[str, Kind] | None = None) -> list[SimPull]:
    """`n` pulls, kinds in turn; the same n, seed and kinds give the same pulls."""
    table = dict(kinds or THIRD)
    names = [list(table)[i % len(table)] for i in range(n)]
    drafts = []
    for i, name in enumerate(names):
        draft = usual(np.random.default_rng([seed, i, 31]))
        table[name].draw(draft)
        drafts.append(draft)
    order = sorted(range(n), key=lambda i: sum(s for s, _, _ in drafts[i].moves))
    pulls: dict[int, SimPull] = {}
    for at in range(0, n, 50):
        part = order[at : at + 50]
        for i, moved in zip(part, turn_all([drafts[i] for i in part]), strict=True):
            pulls[i] = see(names[i], table[names[i]], drafts[i], moved, 100_000 * seed + i)
    return [pulls[i] for i in range(n)]


# The kinds ------------------------------------------------------------------------------------------------------------------------


def tenths_of_foot_pounds(d: Draft) -> None:
    """An old indicator: lbf.ft with one decimal at 60 a second, whole degrees, an encoder mounted the wrong way round."""
    d.rate_hz, d.torque_step_nm, d.angle_step_deg, d.backwards = 60, 0.1 * FOOT_POUND_NM, 1.0, True
    plain(d, deg_s=d.rng.uniform(5, 12))


def averaged(d: Draft) -> None:
    """A converter that averages over a tenth of a second; the line repeats each value ten times."""
    d.rate_hz = 100
    plain(d, ramp_s=d.rng.uniform(1.5, 3.5))


def average_and_hold(s: Seen) -> None:
    s.torque_nm = np.repeat(s.torque_nm[: s.torque_nm.size // 10 * 10].reshape(-1, 10).mean(axis=1), 10)
    # What the converter averaged comes when it has averaged it.
    s.torque_nm = np.concatenate([np.full(10, s.torque_nm[0]), s.torque_nm])[: s.torque_nm.size]
    s.time_s, s.angle_deg = s.time_s[: s.torque_nm.size], None if s.angle_deg is None else s.angle_deg[: s.torque_nm.size]


def two_in_one_file(d: Draft) -> None:
    """Two pulls in one recording; the second, after a rest, lets go higher (plates that stood)."""
    d.heals_s, d.excess = d.rng.uniform(1.0, 3.0), d.rng.uniform(0.06, 0.18)
    plain(d, travel_deg=d.rng.uniform(30, 50), deg_s=d.rng.uniform(8, 20))
    d.rest(d.rng.uniform(1.0, 2.5))
    plain(d, travel_deg=d.rng.uniform(30, 50), deg_s=d.rng.uniform(8, 20))


def hold_below(d: Draft) -> None:
    """He loads it nearly to letting go, holds and looks at the figure, backs off a little, then goes on."""
    d.rest(d.rng.uniform(0.8, 1.5))
    d.load(d.rng.uniform(0.8, 0.94), d.rng.uniform(0.8, 2), play=True)
    d.hold(d.rng.uniform(1.5, 4))
    d.load(d.rng.uniform(0.4, 0.75), d.rng.uniform(0.3, 0.8))
    d.hold(d.rng.uniform(0.2, 1))
    d.load(0.95, d.rng.uniform(0.5, 1.2))
    d.turn(d.rng.uniform(30, 80), d.rng.uniform(6, 25))
    d.let_go()
    d.rest(1.0)


def lever_on_edge(d: Draft) -> None:
    """Horizontal shaft, sensor zeroed before the lever was hung on; the unit holds the lever up at rest."""
    # The sensor sits between lever and unit: turning it reads the plates, at rest the weight that they hold up.
    d.slide_nm = d.rng.uniform(18, 60)
    travel = d.rng.uniform(70, 120)
    while True:
        d.weight_nm, d.weight_at_deg = d.rng.uniform(2.0, 4.5), d.rng.uniform(0, 360)
        before, after = d.weight_nm * np.cos(np.radians(d.weight_at_deg + np.array([0.0, travel])))
        if abs(before - after) > 1.0 and abs(before) > 1.0:
            break
    plain(d, travel_deg=travel)


def cogs(d: Draft) -> None:
    """An adaptor whose teeth cog: the friction swings with the angle, six to twenty times a turn."""
    d.ripple, d.ripple_per_turn = d.rng.uniform(0.04, 0.12), float(d.rng.integers(6, 21))
    plain(d, travel_deg=d.rng.uniform(80, 130))


def vice_gives(d: Draft) -> None:
    """The vice slips once or twice while the load is taken up."""
    d.rest(1.0)
    d.load(0.95, d.rng.uniform(1.5, 3), play=True)
    for share in d.rng.uniform(0.5, 0.9, d.rng.integers(1, 3)):
        d.vice.append((1.0 + share * d.moves[-1][0], d.rng.uniform(0.8, 2.5)))
    d.turn(sum(way for _, way in d.vice) + d.rng.uniform(35, 90), d.rng.uniform(6, 20))
    d.let_go()
    d.rest(1.0)


def cold_oil(d: Draft) -> None:
    """Thick oil: no peak, a knee, and torque that rises with the speed as the hand gets going."""
    d.excess, d.viscous_nm_s = d.rng.uniform(0, 0.02), d.slide_nm * d.rng.uniform(0.2, 0.8)
    speed, rng = d.rng.uniform(10, 40), d.rng
    d.rest(1.0)
    d.load(0.97, rng.uniform(1, 2), play=True)
    for share in (0.2, 0.4, 0.6, 0.8):
        d.turn(speed * share * 0.3, speed * share)
    d.turn(rng.uniform(50, 120), speed)
    d.let_go()
    d.rest(1.0)


def stops_half_way(d: Draft) -> None:
    """The hand stops in the middle to shift the feet, holds, and goes on; the plates stick a little meanwhile."""
    d.heals_s = d.rng.uniform(4, 15)
    d.rest(1.0)
    d.load(0.9, d.rng.uniform(0.8, 1.6), play=True)
    speed = d.rng.uniform(6, 20)
    d.turn(d.rng.uniform(20, 40), speed)
    d.hold(d.rng.uniform(1.0, 4.0))
    d.turn(d.rng.uniform(20, 40), speed)
    d.let_go()
    d.rest(1.0)


def tare_presses(d: Draft) -> None:
    """A sleeve catches the tare key while the load is on: from there on all is less by what was on."""
    plain(d, ramp_s=d.rng.uniform(1.5, 3), deg_s=d.rng.uniform(6, 20))


def tared(s: Seen) -> None:
    share = s.rng.uniform(0.15, 0.6)
    on = s.torque_nm[s.time_s > 0.8]
    at = int(np.argmax(s.torque_nm > share * on.max()))
    s.torque_nm[at:] -= s.torque_nm[at]


def mallet(d: Draft) -> None:
    """Somebody strikes the bench beside the vice while the load is taken up; the plates do not notice."""
    d.rate_hz = float(d.rng.choice([500, 1000, 2000]))
    plain(d, ramp_s=d.rng.uniform(1.2, 2.5))


def struck(s: Seen) -> None:
    for _ in range(int(s.rng.integers(1, 4))):
        at = s.draft.moves[0][0] + s.rng.uniform(0.4, 0.9) * s.draft.moves[1][0]
        since = s.time_s - at
        height = s.rng.uniform(0.2, 1.0) * s.draft.let_go_nm
        ring = height * np.exp(-since / s.rng.uniform(0.004, 0.012)) * np.sin(2 * np.pi * s.rng.uniform(70, 200) * since)
        s.torque_nm = s.torque_nm + np.where(since > 0, ring, 0.0)


def peak_memory(d: Draft) -> None:
    """The indicator was left on peak memory: the figure never goes down until its key is pressed."""
    plain(d)


def remembers_peak(s: Seen) -> None:
    s.torque_nm = np.maximum.accumulate(s.torque_nm)
    # Where he presses the key at the end, it falls in one sample.
    if s.rng.random() < 0.5:
        at = int(np.searchsorted(s.time_s, s.time_s[-1] - 0.5))
        s.torque_nm[at:] = s.draft.noise_nm * s.rng.standard_normal(s.time_s.size - at)


def hum_beside_the_rate(d: Draft) -> None:
    """Mains hum sampled near its own frequency: a slow wave, at rest too."""
    d.rate_hz = float(d.rng.choice([49.3, 50.4, 98.6, 100.8, 24.8]))
    d.slide_nm = max(d.slide_nm, 30.0)
    plain(d, deg_s=d.rng.uniform(5, 12))


def hums(s: Seen) -> None:
    s.torque_nm = s.torque_nm + s.rng.uniform(0.02, 0.05) * s.draft.slide_nm * np.sin(
        2 * np.pi * 50.0 * s.time_s + s.rng.uniform(0, 6)
    )


def comes_in_packets(d: Draft) -> None:
    """A radio link: ten samples at once every now and then, stamped as they come."""
    d.rate_hz = float(d.rng.choice([100, 200, 250]))
    plain(d, deg_s=d.rng.uniform(6, 20))


def packets(s: Seen) -> None:
    size = int(s.rng.integers(6, 16))
    came = s.time_s.copy()
    for at in range(0, came.size, size):
        upto = min(at + size, came.size)
        # They come when the last is ready, and some later still; a packet cannot overtake another.
        first = max(s.time_s[upto - 1] + s.rng.exponential(0.01), came[at - 1] + 2e-4 if at else 0.0)
        came[at:upto] = first + 2e-4 * np.arange(upto - at)
    s.time_s = came


def wound_up_only(d: Draft) -> None:
    """The case was held as well: it cannot turn. Torque goes up with the wind-up and comes back the same way."""
    d.slide_nm, d.excess, d.rate_hz = 5000.0, 0.0, float(d.rng.choice([100, 500, 1000]))
    aim = d.rng.uniform(30, 120) / 5000.0
    d.rest(1.0)
    d.load(aim, d.rng.uniform(1.0, 2.5), play=True)
    d.hold(d.rng.uniform(0.3, 2))
    if d.rng.random() < 0.5:
        d.load(0.05 * aim, d.rng.uniform(0.3, 1.0))
    d.let_go()
    d.rest(1.0)


def slow_at_ten_thousand(d: Draft) -> None:
    """One degree and a half a second, ten thousand samples a second, wide noise."""
    d.rate_hz, d.noise_nm, d.torque_step_nm = 10_000, d.rng.uniform(0.3, 1.0), 0.001
    d.angle_step_deg = float(d.rng.choice([0.1, 0.5]))
    plain(d, travel_deg=d.rng.uniform(12, 18), deg_s=d.rng.uniform(1.2, 2.0), ramp_s=d.rng.uniform(2, 3.5))


def chatters_late(d: Draft) -> None:
    """Smooth at first; in the last part of the way, where the oil is wiped off, it sticks and slips."""
    d.rate_hz = float(d.rng.choice([500, 1000]))
    way = d.rng.uniform(80, 130)
    d.fall, d.fall_deg_s, d.falls_from_deg = d.rng.uniform(0.12, 0.3), d.rng.uniform(2, 5), way * d.rng.uniform(0.4, 0.7)
    plain(d, travel_deg=way, deg_s=d.rng.uniform(8, 18))


THIRD: dict[str, Kind] = {
    "foot_pounds_backward_encoder": Kind(tenths_of_foot_pounds),
    "averages_tenth_second": Kind(averaged, (average_and_hold,), "wide", "peak lost by up to half a tenth of a second of ramp"),
    "two_pulls_one_file": Kind(two_in_one_file, remark="the first pull is the breakaway; sliding of the first, or of both"),
    "holds_below_then_on": Kind(hold_below),
    "lever_weight_at_rest": Kind(lever_on_edge, (), "code", "rests before and after differ: neither is proven zero"),
    "cogging": Kind(cogs),
    "vice_slips": Kind(vice_gives),
    "cold_oil": Kind(cold_oil, remark="a knee; known to what torque between 0.03 and 0.3 degrees of slip lies apart"),
    "stops_half_way": Kind(stops_half_way),
    "tare_in_load": Kind(tare_presses, (tared,), "code", "a step of one sample, and the rest after lies below"),
    "mallet_beside": Kind(mallet, (struck,)),
    "peak_memory_on": Kind(peak_memory, (remembers_peak,), "code", "breakaway is there; sliding is not in the curve"),
    "hum_aliased": Kind(hum_beside_the_rate, (hums,), "wide", "the wave is there at rest; breakaway to its height"),
    "radio_packets": Kind(comes_in_packets, (packets,)),
    "locked_never_slips": Kind(wound_up_only, expert="reads", remark="nothing let go: no breakaway", turns=False),
    "slow_10_khz": Kind(slow_at_ten_thousand),
    "chatters_late": Kind(chatters_late, remark="chatter in a part of the way"),
}
