"""What renewed, swapped or turned plates and springs would do, each with the best shims for it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from analysis.pack.buildable import left_right_mm
from analysis.pack.context import context_of
from analysis.pack.end_play import end_play_to_read
from analysis.pack.inference import learn
from analysis.pack.parts import SIDES, Build, CupSpring, Plate, PlateKind, Shelf, SideBuild
from analysis.pack.shim_choice import Choice, choose
from analysis.pack.stack import kind_of
from analysis.pack.told import Told
from analysis.pack.unit import Unit
from analysis.window import Window

MOST_TRIED = 5
"""Other builds that are reckoned for one sheet; each costs as much as the sheet itself."""
RECKONED = 30
"""Choices of shims that are reckoned in full for each of them."""
LIKE_SPRING = 0.02
"""A spring from the shelf fits in place of another when its diameters agree to this share."""
SPRINGS_LOW_MM = 0.08
"""Springs this much lower than new by the card are worth renewing (EN 16983 allows no new one to be)."""


@dataclass(frozen=True, slots=True)
class PartsChoice:
    """Renewed, swapped or turned parts with the best shims for them; names in order where they change."""

    choice: Choice
    why: str
    left_plates: tuple[str, ...] | None = None
    right_plates: tuple[str, ...] | None = None
    left_springs: tuple[str, ...] | None = None
    right_springs: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class _Other:
    """A build with other parts. `fresh`: names of plates that have not run yet."""

    build: Build
    why: str
    plates: tuple[Plate, ...] = ()
    springs: tuple[CupSpring, ...] = ()
    fresh: frozenset[str] = frozenset()


def parts_choices(
    unit: Unit, shelf: Shelf, window: Window, arrangement: str, worn: Sequence[str], *, feasible: bool
) -> tuple[PartsChoice, ...]:
    """Other builds worth a thought with their best shims, the likeliest to land first.

    Parameters
    ----------
    unit, shelf, window, arrangement
        As for the sheet itself.
    worn
        Names of plates and springs beyond a limit, or seen to be cracked, blue or bare.
    feasible
        Whether shims alone would do.

    Returns
    -------
    tuple of PartsChoice
        At most `MOST_TRIED`; with worn parts their renewal stands first, however likely it lands.
    """
    others = _worth_a_thought(unit, shelf, worn, feasible=feasible)[:MOST_TRIED]
    if not others:
        return ()
    plates = {**unit.pack.plates, **{plate.name: plate for one in others for plate in one.plates}}
    springs = {**unit.pack.springs, **{spring.name: spring for one in others for spring in one.springs}}
    wider = Unit(replace(unit.pack, plates=plates, springs=springs), unit.card, unit.shop)
    learnt = learn(wider, window.basis, arrangement, [one.build for one in others])
    found = []
    for one in others:
        end_play = end_play_to_read(learnt, one.build) if unit.card.limits.end_play_mm is not None else None
        best = choose(
            learnt, one.build, context_of(one.build, wider, one.fresh), shelf, window, end_play, most=RECKONED, best_only=True
        ).choices[0]
        found.append(_as_choice(one, best, unit.pack.now))
    needed = bool(worn)
    # With worn parts the first option renews just them; it is needed and stays first.
    head, rest = (found[:1], found[1:]) if needed else ([], found)
    return (*head, *sorted(rest, key=lambda one: -one.choice.probability_lands))


def _as_choice(one: _Other, best: Choice, now: Build) -> PartsChoice:
    def changed(mine: tuple[str, ...], then: tuple[str, ...]) -> tuple[str, ...] | None:
        return None if mine == then else mine

    return PartsChoice(
        best,
        one.why,
        changed(one.build.left.plates, now.left.plates),
        changed(one.build.right.plates, now.right.plates),
        changed(one.build.left.springs, now.left.springs),
        changed(one.build.right.springs, now.right.springs),
    )


def _worth_a_thought(unit: Unit, shelf: Shelf, worn: Sequence[str], *, feasible: bool) -> list[_Other]:
    """Builds in the order of the bench: what is worn, what is wrong, what is weak, what does not match."""
    base = _Other(unit.pack.now, "")
    found = []
    mended = _renewed(unit, shelf, base, worn) if worn else base
    if worn:
        found.append(mended)
    ordered = _alternating(unit, mended)
    if ordered is not None:
        found.append(ordered)
    turned = _turned(unit, ordered or mended)
    if turned is not None:
        found.append(turned)
    best = turned or ordered or mended
    if _springs_low(unit) or not feasible:
        springs = _new_springs(unit, shelf, best)
        if springs is not None:
            found.append(springs)
    if _sides_differ(unit):
        swapped = _swapped(unit, best)
        if swapped is not None:
            found.append(swapped)
    if not feasible:
        found += _other_grades(unit, shelf, best)
    return found


def _with_sides(one: _Other, left: SideBuild, right: SideBuild, why: str) -> _Other:
    said = Told("{first} and {then}", first=one.why, then=why) if one.why else why
    return replace(one, build=replace(one.build, left=left, right=right), why=said)


def _renewed(unit: Unit, shelf: Shelf, one: _Other, worn: Sequence[str]) -> _Other:
    """Worn plates and springs in place of which new ones stand: from the shelf, else as new by the card."""
    taken: dict[str, int] = {}
    plates: list[Plate] = []
    springs: list[CupSpring] = []

    def plate_for(name: str) -> str:
        if name not in worn or name not in unit.pack.plates:
            return name
        plates.append(_new_plate(unit, shelf, unit.pack.plates[name], taken))
        return plates[-1].name

    def spring_for(name: str) -> str:
        if name not in worn or name not in unit.pack.springs:
            return name
        springs.append(_new_spring(unit, shelf, unit.pack.springs[name], taken))
        return springs[-1].name

    sides = []
    for side in one.build.sides:
        named = tuple(map(plate_for, side.plates))
        known = {**unit.pack.plates, **{plate.name: plate for plate in plates}}
        sides.append(replace(_exchanged(side, named, known), springs=tuple(map(spring_for, side.springs))))
    left, right = sides
    made = _with_sides(one, left, right, Told("renew {parts}", parts=", ".join(worn)))
    fresh = frozenset(plate.name for plate in plates)
    return replace(made, plates=(*one.plates, *plates), springs=(*one.springs, *springs), fresh=one.fresh | fresh)


def _exchanged(side: SideBuild, names: tuple[str, ...], plates: Mapping[str, Plate]) -> SideBuild:
    """A side with other plates; a stack height that was measured changes by the difference of the thicknesses that are known."""
    height = side.stack_height_mm
    if height is not None:
        for old, new in zip(side.plates, names, strict=True):
            if old in plates and new in plates and plates[old].thickness_mm and plates[new].thickness_mm:
                height += plates[new].mean_mm - plates[old].mean_mm
    return replace(side, plates=names, stack_height_mm=height)


def _new_plate(unit: Unit, shelf: Shelf, old: Plate, taken: dict[str, int]) -> Plate:
    """The nearest of the same kind on the shelf, else one as thick as the old one was when new."""
    like = [p for p in unit.pack.plates.values() if p.kind is old.kind]
    unworn = [p.unworn_mm for p in like if p.unworn_mm is not None]
    wanted = old.unworn_mm or (max(unworn) if unworn else max((p.mean_mm for p in like if p.thickness_mm), default=old.mean_mm))
    stocked = [s for s in shelf.plates if s.plate is not None and s.plate.kind is old.kind]
    stocked = [s for s in stocked if s.plate is not None and taken.get(s.plate.name, 0) < s.count]
    if stocked:
        best = min(stocked, key=lambda s: abs(s.plate.mean_mm - wanted) if s.plate is not None else 0.0)
        assert best.plate is not None
        taken[best.plate.name] = taken.get(best.plate.name, 0) + 1
        return replace(best.plate, name=_numbered(best.plate.name, taken[best.plate.name]))
    return Plate(f"new {old.name}", old.kind, (wanted,))


def _numbered(name: str, count: int) -> str:
    return name if count == 1 else f"{name} ({count})"


def _new_spring(unit: Unit, shelf: Shelf, old: CupSpring, taken: dict[str, int]) -> CupSpring:
    card = unit.card.springs
    for stocked in shelf.springs:
        spring = stocked.spring
        if spring is None or taken.get(spring.name, 0) >= stocked.count:
            continue
        if abs(spring.outer_diameter_mm / old.outer_diameter_mm - 1.0) > LIKE_SPRING:
            continue
        if abs(spring.inner_diameter_mm / old.inner_diameter_mm - 1.0) > LIKE_SPRING:
            continue
        taken[spring.name] = taken.get(spring.name, 0) + 1
        return replace(spring, name=_numbered(spring.name, taken[spring.name]))
    return CupSpring(
        f"new {old.name}",
        card.outer_diameter_mm or old.outer_diameter_mm,
        card.inner_diameter_mm or old.inner_diameter_mm,
        card.thickness_mm or old.thickness_mm,
        card.free_height_mm or old.free_height_mm,
    )


def _springs_low(unit: Unit) -> bool:
    new = unit.card.springs.free_height_mm
    names = [name for side in unit.pack.now.sides for name in side.springs]
    return new is not None and any(new - unit.pack.springs[name].free_height_mm > SPRINGS_LOW_MM for name in names)


def _new_springs(unit: Unit, shelf: Shelf, one: _Other) -> _Other | None:
    names = [name for side in one.build.sides for name in side.springs]
    known = {**unit.pack.springs, **{spring.name: spring for spring in one.springs}}
    if not names or (unit.card.springs.free_height_mm is None and not shelf.springs):
        return None
    taken: dict[str, int] = {}
    new = {name: _new_spring(unit, shelf, known[name], taken) for name in names}
    left, right = (replace(side, springs=tuple(new[name].name for name in side.springs)) for side in one.build.sides)
    return replace(_with_sides(one, left, right, Told("renew the springs")), springs=(*one.springs, *new.values()))


def _alternating(unit: Unit, one: _Other) -> _Other | None:
    """Plates in the order that loses no face, where the card says that some are lost."""
    wanted = unit.card.faces_per_side
    plates = {**unit.pack.plates, **{plate.name: plate for plate in one.plates}}
    if wanted is None or min(unit.faces(unit.pack.now)) >= wanted:
        return None
    sides = []
    for side in one.build.sides:
        inner = [name for name in side.plates if kind_of(name, plates) is PlateKind.INNER]
        outer = [name for name in side.plates if kind_of(name, plates) is PlateKind.OUTER]
        order: list[str] = []
        while inner or outer:
            take_outer = bool(outer) and (not inner or len(outer) > len(inner))
            order.append((outer if take_outer else inner).pop(0))
            if not take_outer and outer:
                order.append(outer.pop(0))
        sides.append(_exchanged(side, tuple(order), {}))
    return _with_sides(one, sides[0], sides[1], Told("put inner and outer plates by turns"))


def _turned(unit: Unit, one: _Other) -> _Other | None:
    """Springs as the card stacks them."""
    card = unit.card.springs.stack
    if card is None:
        return None
    swapped = card.translate(str.maketrans("()", ")("))
    wrong = [side.springs and len(side.springs) == len(card) and side.stack not in (card, swapped) for side in one.build.sides]
    if not any(wrong):
        return None
    left, right = (replace(side, stack=card) if bad else side for bad, side in zip(wrong, one.build.sides, strict=True))
    return _with_sides(one, left, right, Told("turn the springs as the card has them, '{card}'", card=card))


def _sides_differ(unit: Unit) -> bool:
    limit, now = unit.card.limits.left_right_mm, left_right_mm(unit, unit.pack.now)
    if limit is None or now is None:
        return False
    shims = unit.pack.now.left.shim_total_mm - unit.pack.now.right.shim_total_mm
    return abs(now - shims) > limit


def _swapped(unit: Unit, one: _Other) -> _Other | None:
    """The exchange of one plate for another of its kind that brings both stacks nearest to each other."""
    plates = {**unit.pack.plates, **{plate.name: plate for plate in one.plates}}
    left, right = one.build.sides
    if not all(name in plates and plates[name].thickness_mm for side in one.build.sides for name in side.plates):
        return None
    difference = sum(plates[n].mean_mm for n in left.plates) - sum(plates[n].mean_mm for n in right.plates)
    pairs = [
        (abs(difference - 2.0 * (plates[a].mean_mm - plates[b].mean_mm)), a, b)
        for a in left.plates
        for b in right.plates
        if plates[a].kind is plates[b].kind
    ]
    if not pairs or min(pairs)[0] >= abs(difference):
        return None
    _, a, b = min(pairs)
    new_left = _exchanged(left, tuple(b if name == a else name for name in left.plates), plates)
    new_right = _exchanged(right, tuple(a if name == b else name for name in right.plates), plates)
    return _with_sides(one, new_left, new_right, Told("swap {a} and {b}", a=a, b=b))


def _other_grades(unit: Unit, shelf: Shelf, one: _Other) -> Iterator[_Other]:
    """One plate a side for one of another thickness, where both sides can have it."""
    plates = {**unit.pack.plates, **{plate.name: plate for plate in one.plates}}
    for stocked in shelf.plates:
        if stocked.plate is None or stocked.count < len(SIDES):
            continue
        new, sides, ours = stocked.plate, [], []
        for name, side in zip(SIDES, one.build.sides, strict=True):
            like = [n for n in side.plates if n in plates and plates[n].kind is new.kind and plates[n].thickness_mm]
            if not like:
                break
            out = max(like, key=lambda n: abs(plates[n].mean_mm - new.mean_mm))
            ours.append(replace(new, name=f"{new.name} {name}"))
            swapped = tuple(ours[-1].name if n == out else n for n in side.plates)
            sides.append(_exchanged(side, swapped, {**plates, ours[-1].name: ours[-1]}))
        if len(sides) == len(SIDES):
            made = _with_sides(
                one, sides[0], sides[1], Told("fit {name} ({mean_mm:.2f} mm) on each side", name=new.name, mean_mm=new.mean_mm)
            )
            yield replace(made, plates=(*one.plates, *ours), fresh=one.fresh | {plate.name for plate in ours})
