"""What may lie on the simulated bench: named scenarios of our own, each an endless run of pulls that differ a little.

The figures are plausible for a plated unit (trade notes, 2.5 and 5.1) and belong to no real one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.errors import BenchError
from drivers.emulated.bench import Setup
from drivers.emulated.hand import Hand, Pause
from drivers.emulated.plant import Arrangement, Frame, Pack
from drivers.emulated.sensor import Sensor

_QUIET = Pack(kinetic_nm=52.0, static_over_kinetic=0.97, stribeck_rad_s=0.04, viscous_nm_s=3.0, ageing_share=0.018)
_GRABBY = Pack(
    kinetic_nm=50.0, static_over_kinetic=1.25, stribeck_rad_s=0.015, viscous_nm_s=1.0, ageing_share=0.008, ageing_from_s=0.02
)
_SEALS_ONLY = Pack(kinetic_nm=0.25, viscous_nm_s=0.1)
_TIGHT = Frame(lash_rad=math.radians(0.05))
_HEAVY = replace(_TIGHT, adapter_nm_rad=1500.0, adapter_damping_nm_s=2.0, lever_kgm2=0.05, rotor_kgm2=0.006, other_kgm2=0.02)
_SOFT = replace(_TIGHT, arm_nm_rad=500.0, arm_damping_nm_s=2.0, lever_kgm2=0.05, adapter_nm_rad=4000.0, adapter_damping_nm_s=6.0)
_WHIPPY = replace(_TIGHT, arm_damping_nm_s=12.0, lever_kgm2=0.12, adapter_nm_rad=1500.0, adapter_damping_nm_s=0.5)
_STEADY = Hand(slide_deg_s=11.0, travel_deg=90.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """A named scenario: one line for the user, the pulls it cycles through, the sensor that looks on."""

    name: str
    help: str
    setups: tuple[Setup, ...]
    sensor: Sensor = field(default_factory=Sensor)

    def workday(self, rng: np.random.Generator) -> Iterator[Setup]:
        """Pulls without end, in the order of `setups`, each a little different from the last."""
        while True:
            for setup in self.setups:
                yield _varied(setup, rng)


def _varied(setup: Setup, rng: np.random.Generator) -> Setup:
    """The same unit and man on another pull: a few per cent in level and hand (trade notes, 6: 3 to 8 % within the hour)."""

    def about(value: float, spread: float) -> float:
        return value * float(np.clip(1 + spread * rng.standard_normal(), 1 - 2.5 * spread, 1 + 2.5 * spread))

    level = about(1.0, 0.015)
    hand = setup.hand
    return replace(
        setup,
        left=replace(setup.left, kinetic_nm=setup.left.kinetic_nm * level),
        right=replace(setup.right, kinetic_nm=setup.right.kinetic_nm * level),
        hand=replace(
            hand,
            load_deg_s=about(hand.load_deg_s, 0.12),
            slide_deg_s=about(hand.slide_deg_s, 0.12),
            travel_deg=about(hand.travel_deg, 0.06),
        ),
        frame=replace(setup.frame, arm_nm_rad=about(setup.frame.arm_nm_rad, 0.08)),
        rest_s=about(setup.rest_s, 0.1),
    )


def _alike(pack: Pack, nm: float, **setup: object) -> Setup:
    both = replace(pack, kinetic_nm=nm)
    return replace(Setup(name="", hand=Hand(), left=both, right=both, frame=_TIGHT), **setup)  # type: ignore[arg-type]


def _both_ways(setup: Setup) -> tuple[Setup, Setup]:
    """Pulls to and fro, so that slack and lash are crossed afresh each time."""
    return setup, replace(setup, hand=replace(setup.hand, direction=-setup.hand.direction))


def _scenario(name: str, help_: str, *setups: Setup, sensor: Sensor | None = None) -> Scenario:
    return Scenario(name=name, help=help_, setups=tuple(replace(s, name=name) for s in setups), sensor=sensor or Sensor())


_WAVY = ((1.0, 0.05), (16.0, 0.012))  # a thick-and-thin plate once a turn, the bevel teeth sixteen times
_PLAIN = (
    _scenario("good-pack", "a rebuilt pack in good order, quiet oil", _alike(_QUIET, 52.0)),
    _scenario(
        "both-ways", "a rebuilt pack in good order, pulled to and fro, as a unit is judged", *_both_ways(_alike(_QUIET, 52.0))
    ),
    _scenario("worn-low", "a worn pack that lets go low", _alike(_QUIET, 16.0)),
    _scenario("spins-free", "a unit that nothing holds", _alike(_SEALS_ONLY, 0.25, resists=False)),
    _scenario("over-shimmed", "too thick a shim: lets go far too high", _alike(_QUIET, 112.0)),
    _scenario("chattering-plates", "new plates in plain oil: stick-slip", _alike(_GRABBY, 50.0, hand=_STEADY, frame=_HEAVY)),
    _scenario(
        "after-additive",
        "the chattering plates with friction modifier in the oil",
        _alike(_GRABBY, 50.0, hand=_STEADY, frame=_HEAVY, additive=1.0),
    ),
    _scenario(
        "slow-chatter",
        "such plates pulled slowly by a soft arm: few, large steps",
        _alike(_GRABBY, 50.0, hand=Hand(slide_deg_s=6.0, travel_deg=60.0), frame=_SOFT),
    ),
    _scenario(
        "fast-chatter",
        "such plates pulled fast through a whippy adapter: a buzz",
        _alike(
            replace(_GRABBY, static_over_kinetic=1.15, stribeck_rad_s=0.02, ageing_share=0.015),
            50.0,
            hand=Hand(slide_deg_s=30.0, travel_deg=150.0),
            frame=_WHIPPY,
        ),
    ),
    _scenario(
        "ragged-chatter",
        "stick-slip in doublets and triplets while the lever swings on",
        _alike(replace(_GRABBY, stribeck_rad_s=0.03), 50.0, hand=Hand(slide_deg_s=10.0, travel_deg=80.0)),
    ),
    _scenario(
        "spline-slack",
        "loose splines before the load is taken up",
        *_both_ways(_alike(_QUIET, 48.0, frame=replace(_TIGHT, slack_rad=0.12))),
    ),
    _scenario(
        "hesitating-hand",
        "the hand stops on the way, once even leaves the lever",
        _alike(_QUIET, 50.0, hand=Hand(travel_deg=120.0, pauses=(Pause(45.0, 1.3),))),
        _alike(_QUIET, 50.0, hand=Hand(travel_deg=130.0, pauses=(Pause(60.0, 0.7, off=True),))),
    ),
    _scenario("other-way", "pulled in the other direction", _alike(_QUIET, 55.0, hand=Hand(direction=-1))),
    _scenario(
        "unequal-packs",
        "left and right pack differ, bevel gears with lash: a first step, then the mean",
        *_both_ways(
            Setup(
                name="",
                hand=Hand(load_deg_s=5.0),
                left=replace(_QUIET, kinetic_nm=34.0),
                right=replace(_QUIET, kinetic_nm=66.0),
                frame=Frame(lash_rad=math.radians(1.2)),
            )
        ),
    ),
    _scenario(
        "case-held",
        "case held instead of free: the same packs read twice as high",
        *_both_ways(
            _alike(_QUIET, 30.0, frame=Frame(arrangement=Arrangement.CASE_HELD, other_kgm2=0.002, lash_rad=math.radians(0.8)))
        ),
    ),
    _scenario(
        "shaky-hand",
        "a hand that shakes; its side load reaches the sensor",
        _alike(_QUIET, 50.0, hand=Hand(tremor_share=0.012)),
        sensor=Sensor(side_share=2.5),
    ),
    _scenario(
        "wavy-plate",
        "a plate thick on one side, and tooth ripple",
        _alike(replace(_QUIET, waves=_WAVY), 52.0, hand=Hand(travel_deg=400.0, slide_deg_s=40.0)),
    ),
    _scenario("small-sensor", "a sensor too small for the pack: it clips", _alike(_QUIET, 55.0), sensor=Sensor(capacity_nm=50.0)),
    _scenario(
        "humming-sensor",
        "mains hum and a wandering zero",
        _alike(_QUIET, 52.0),
        sensor=Sensor(hum_nm=0.8, offset_nm=0.7, drift_nm_per_min=0.4),
    ),
    _scenario(
        "slow-indicator",
        "an indicator with a slow filter and coarse steps",
        _alike(_QUIET, 52.0),
        sensor=Sensor(bandwidth_hz=10.0, resolution_nm=0.5, encoder_deg=0.5),
    ),
)
_BY_NAME = {scenario.name: scenario for scenario in _PLAIN}
_WORKDAY = Scenario(
    name="workday",
    help="as found, worn and free, rebuilt, over-shimmed, chatter, additive, both ways",
    setups=tuple(
        setup
        for name in (
            "worn-low", "worn-low", "spins-free", "over-shimmed", "chattering-plates", "after-additive",
            "good-pack", "other-way", "hesitating-hand", "spline-slack", "unequal-packs",
        )
        for setup in _BY_NAME[name].setups[:1]
    ),
)  # fmt: skip
SCENARIOS: dict[str, Scenario] = {scenario.name: scenario for scenario in (*_PLAIN, _WORKDAY)}
DEFAULT = "good-pack"


def scenario(name: str) -> Scenario:
    """The scenario of that name. Raises BenchError that names all there are."""
    try:
        return SCENARIOS[name]
    except KeyError:
        raise BenchError(f"there is no scenario '{name}'", remedy="use one of " + ", ".join(SCENARIOS)) from None
