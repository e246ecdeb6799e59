"""Entries that cannot be right: read, but not believed."""

from __future__ import annotations

import statistics
from collections.abc import Iterator

from analysis.pack.arrangement import Layout
from analysis.pack.parts import SIDES, Build, CupSpring, Pack, Plate, PlateKind, Shelf, SideBuild, SpecCard
from analysis.pack.plausible_space import problems_of_space
from analysis.pack.problem import Problem, once, stop
from analysis.pack.told import Told
from analysis.pack.unit import Unit

PLATE_MM = (0.6, 6.0)
"""Plates of this trade are 1.3 to 3 mm thick (TRADE.md 3.2); an inch read as mm is 0.08, a slipped point 0.2 or 20."""
OFF_THE_REST_MM = 0.07
"""A reading this far from the plate's others is a slip: a worn track differs by hundredths, the wear limit is 0.1."""
REST_AGREES_MM = 0.03
"""... where those agree."""
FROM_LIKE_PLATES = 0.25
"""A plate that differs by a quarter from its like: the grades of one kind differ by 0.1 mm in 2."""
BELOW_UNWORN_MM = 0.5
"""Facings are not worn by half a millimetre before steel shows; the unworn place was misread."""
SHIM_MM = (0.04, 3.0)
"""The thinnest shim stock is 0.05 mm; beyond 3 mm it is a plate."""
TALLER_MM = 0.5
"""Taller than the card's spring by more than this (PACK.md 4)."""
SPRING_THICKNESS_OFF = 0.2
"""Thickness that differs from the card's by a fifth: EN 16983 allows a tenth at most."""
STEEPEST_CONE = 3.0
"""Cone height over thickness beyond which no cup spring is made (EN 16983 ends at 1.3; cone springs of this trade reach 2)."""
STACK_OFF_MM = 1.0
"""Left and right stacks, or the same side before and after, of like plates: a millimetre is half a plate."""
SPRING_LEAST_MM = 15.0
"""No cup spring that goes over a side gear is smaller outside."""
MM_PER_INCH = 25.4
DISAGREE = 0.03
"""A window printed twice must agree to 3 % (TRADE.md 2.7)."""


def problems_of(pack: Pack, card: SpecCard, shelf: Shelf) -> list[Problem]:
    """Everything that cannot be right, in the order of the sheet.

    Parameters
    ----------
    pack, card, shelf
        As read.

    Returns
    -------
    list of Problem
        Empty where all is believed; with one of severity `stop` the sheet is not answered. The space is looked at only where
        nothing else stops and no part is missing.
    """
    found = [*_oils(pack), *_fitted(pack, card)]
    missing = any(one.code in ("plate_missing", "spring_missing") for one in found)
    found += [
        *_plates(pack, card),
        *_stacks(pack),
        *_springs(pack, card),
        *_shims(pack, shelf),
        *window_misprints(card),
    ]
    if not missing and not any(one.severity == "stop" for one in found):
        found += problems_of_space(Unit(pack, card))
    return found


def _oils(pack: Pack) -> Iterator[Problem]:
    if (pack.now.oil or "") == "dry":
        yield stop("dry", "pack.oil", Told("dry plates read high and scatter: oil the plates with the service oil and pull again"))


def _builds(pack: Pack) -> Iterator[tuple[str, Build]]:
    yield "", pack.now
    for number, entry in enumerate(pack.history, start=1):
        yield f"history {number} ", entry.build


def _fitted(pack: Pack, card: SpecCard) -> list[Problem]:
    found: list[Problem] = []
    for where, build in _builds(pack):
        for name, side in zip(SIDES, build.sides, strict=True):
            found += _plates_fitted(pack, card, f"{where}{name}", side, now=not where)
            found += _springs_fitted(pack, card, f"{where}{name}", side, now=not where)
    now = pack.now
    if card.layout is not Layout.BLOCK and not any(side.springs for side in now.sides):
        found.append(stop("spring_missing", "springs", Told("no spring on either side: enter the springs that are fitted")))
    counts = [len(side.plates) for side in now.sides]
    if card.plates_per_side is None and min(counts) and counts[0] != counts[1]:
        fewer = SIDES[counts[0] > counts[1]]
        found.append(
            stop(
                "plate_missing",
                fewer,
                Told(
                    "{fewer} has {n1} plates and the other side {n2}: enter them all, in order",
                    fewer=fewer,
                    n1=min(counts),
                    n2=max(counts),
                ),
            )
        )
    return once(found)


def _plates_fitted(pack: Pack, card: SpecCard, where: str, side: SideBuild, *, now: bool) -> Iterator[Problem]:
    kinds = {str(kind) for kind in PlateKind}
    for name in side.plates:
        if name not in pack.plates and (name not in kinds or pack.plates):
            yield stop(
                "plate_missing",
                f"{where}.plates",
                Told("plate '{name}' is in {where} but has no [[plates]] entry of its own", name=name, where=where),
            )
    # An old series with a plate left out is a finding, not a slip of the pen.
    if now and card.plates_per_side is not None and len(side.plates) < card.plates_per_side:
        yield stop(
            "plate_missing",
            f"{where}.plates",
            Told(
                "{where} has {n1} plates, the card {plates_per_side}: enter them all, in order",
                where=where,
                n1=len(side.plates),
                plates_per_side=card.plates_per_side,
            ),
        )
    twice = sorted({name for name in side.plates if name not in kinds and side.plates.count(name) > 1})
    if twice:
        yield stop(
            "plate_missing",
            f"{where}.plates",
            Told("plate '{n1}' stands twice in {where}: one of its neighbours was left out", n1=twice[0], where=where),
        )


def _springs_fitted(pack: Pack, card: SpecCard, where: str, side: SideBuild, *, now: bool) -> Iterator[Problem]:
    for name in side.springs:
        if name not in pack.springs:
            yield stop(
                "spring_missing",
                f"{where}.springs",
                Told("spring '{name}' is in {where} but has no [[springs]] entry", name=name, where=where),
            )
    wanted = card.springs.per_side
    # An old series with a spring left out is a finding, not a slip of the pen.
    if now and wanted is not None and side.springs and len(side.springs) < wanted:
        yield stop(
            "spring_missing",
            f"{where}.springs",
            Told("{where} has {n1} springs, the card {wanted}", where=where, n1=len(side.springs), wanted=wanted),
        )


def _plates(pack: Pack, card: SpecCard) -> Iterator[Problem]:
    medians: dict[PlateKind, float] = {}
    for kind in PlateKind:
        values = [statistics.median(p.thickness_mm) for p in pack.plates.values() if p.kind is kind and p.thickness_mm]
        if values:
            medians[kind] = statistics.median(values)
    for plate in pack.plates.values():
        problem = _plate(plate, medians.get(plate.kind))
        if problem is not None:
            yield problem


def _plate(plate: Plate, like_mm: float | None) -> Problem | None:
    where = f"plate {plate.name}"
    low, high = PLATE_MM
    values = (*plate.thickness_mm, *(() if plate.unworn_mm is None else (plate.unworn_mm,)))
    for value in values:
        if not low <= value <= high:
            hint = (
                Told("; was it read in inches?") if low <= MM_PER_INCH * value <= high else Told("; has the decimal point slipped?")
            )
            return stop(
                "implausible_thickness",
                where,
                Told("{where}: {value:g} mm is no plate of this trade{hint}", where=where, value=value, hint=hint),
            )
    if len(plate.thickness_mm) > 2:
        for n, value in enumerate(plate.thickness_mm):
            rest = plate.thickness_mm[:n] + plate.thickness_mm[n + 1 :]
            if max(rest) - min(rest) <= REST_AGREES_MM and abs(value - statistics.median(rest)) > OFF_THE_REST_MM:
                text = Told(
                    "{where}: reading {n1}, {value:g} mm, is off the rest ({n2:g} mm): measure it again",
                    where=where,
                    n1=n + 1,
                    value=value,
                    n2=statistics.median(rest),
                )
                return stop("implausible_thickness", where, text)
    if like_mm is not None and plate.thickness_mm:
        middle = statistics.median(plate.thickness_mm)
        if abs(middle - like_mm) > FROM_LIKE_PLATES * like_mm:
            text = Told(
                "{where}: {middle:g} mm, the other {kind} plates {like_mm:g} mm",
                where=where,
                middle=middle,
                kind=plate.kind,
                like_mm=like_mm,
            )
            return stop("implausible_thickness", where, text)
    if plate.unworn_mm is not None and plate.thickness_mm:
        wear = plate.unworn_mm - statistics.median(plate.thickness_mm)
        if abs(wear) > BELOW_UNWORN_MM:
            return stop(
                "implausible_thickness",
                where,
                Told(
                    "{where}: unworn {unworn_mm:g} mm against {n1:g} mm",
                    where=where,
                    unworn_mm=plate.unworn_mm,
                    n1=plate.thickness_mm[0],
                ),
            )
    return None


def _stacks(pack: Pack) -> Iterator[Problem]:
    for name, n in (("left", 0), ("right", 1)):
        seen: list[float] = []
        for where, build in _builds(pack):
            side = build.sides[n]
            if side.stack_height_mm is None:
                continue
            height = side.stack_height_mm
            low, high = PLATE_MM[0] * len(side.plates), PLATE_MM[1] * len(side.plates)
            if not low <= height <= high:
                hint = (
                    Told("; was it read in inches?")
                    if low <= MM_PER_INCH * height <= high
                    else Told("; has the decimal point slipped?")
                )
                yield stop(
                    "implausible_thickness",
                    f"{where}{name}.stack_height",
                    Told(
                        "{where}{name}: {height:g} mm for {n1} plates{hint}",
                        where=where,
                        name=name,
                        height=height,
                        n1=len(side.plates),
                        hint=hint,
                    ),
                )
                return
            seen.append(height - (side.shim_total_mm if side.stack_with_shims else 0.0))
        if seen and max(seen) - min(seen) > STACK_OFF_MM:
            yield stop(
                "implausible_thickness",
                f"{name}.stack_height",
                Told("{name}: stack heights from {n1:g} to {n2:g} mm", name=name, n1=min(seen), n2=max(seen)),
            )
            return
    left, right = pack.now.sides
    both = left.stack_height_mm is not None and right.stack_height_mm is not None
    if both and len(left.plates) == len(right.plates) and left.stack_with_shims == right.stack_with_shims:
        assert left.stack_height_mm is not None
        assert right.stack_height_mm is not None
        if abs(left.stack_height_mm - right.stack_height_mm) > STACK_OFF_MM:
            yield stop(
                "implausible_thickness",
                "stack_height",
                Told(
                    "stacks of {stack_height_mm:g} and {n1:g} mm from as many plates: measure both again",
                    stack_height_mm=left.stack_height_mm,
                    n1=right.stack_height_mm,
                ),
            )


def _springs(pack: Pack, card: SpecCard) -> Iterator[Problem]:
    fitted = {name for side in pack.now.sides for name in side.springs}
    for spring in pack.springs.values():
        problem = _spring(spring, card, fitted_now=spring.name in fitted)
        if problem is not None:
            yield problem


def _spring(spring: CupSpring, card: SpecCard, *, fitted_now: bool) -> Problem | None:
    where = f"spring {spring.name}"
    like = card.springs
    if spring.inner_diameter_mm >= spring.outer_diameter_mm:
        return stop("implausible_spring", where, Told("{where}: its hole is as large as the spring", where=where))
    if spring.outer_diameter_mm < SPRING_LEAST_MM:
        return stop(
            "implausible_spring",
            where,
            Told(
                "{where}: {outer_diameter_mm:g} mm outside; was it read in inches?",
                where=where,
                outer_diameter_mm=spring.outer_diameter_mm,
            ),
        )
    if like.free_height_mm is not None and spring.free_height_mm > like.free_height_mm + TALLER_MM:
        text = Told(
            "{where}: {free_height_mm:g} mm tall, new by the card {n1:g} mm: measure it again",
            where=where,
            free_height_mm=spring.free_height_mm,
            n1=like.free_height_mm,
        )
        return stop("implausible_spring", where, text)
    if fitted_now and spring.free_height_mm <= spring.thickness_mm:
        return stop(
            "implausible_spring",
            where,
            Told(
                "{where}: {free_height_mm:g} mm tall and {thickness_mm:g} mm thick: no cone",
                where=where,
                free_height_mm=spring.free_height_mm,
                thickness_mm=spring.thickness_mm,
            ),
        )
    # Another spring than the card's may stand on the sheet; one that is fitted as the card's and is a fifth off was misread.
    if (
        fitted_now
        and like.thickness_mm is not None
        and abs(spring.thickness_mm - like.thickness_mm) > SPRING_THICKNESS_OFF * like.thickness_mm
    ):
        return stop(
            "implausible_spring",
            where,
            Told(
                "{where}: {thickness_mm:g} mm thick, by the card {n1:g} mm",
                where=where,
                thickness_mm=spring.thickness_mm,
                n1=like.thickness_mm,
            ),
        )
    if fitted_now and spring.cone_height_mm > STEEPEST_CONE * spring.thickness_mm:
        return stop(
            "implausible_spring",
            where,
            Told(
                "{where}: {free_height_mm:g} mm tall and {thickness_mm:g} mm thick",
                where=where,
                free_height_mm=spring.free_height_mm,
                thickness_mm=spring.thickness_mm,
            ),
        )
    return None


def _shims(pack: Pack, shelf: Shelf) -> Iterator[Problem]:
    low, high = SHIM_MM
    for where, build in _builds(pack):
        for name, side in zip(SIDES, build.sides, strict=True):
            for value in side.shims_mm:
                if not low <= value <= high:
                    hint = (
                        Told("; was it read in inches?")
                        if low <= MM_PER_INCH * value <= high
                        else Told("; has the decimal point slipped?")
                    )
                    yield stop(
                        "implausible_shim",
                        f"{where}{name}.shims",
                        Told("{where}{name}: {value:g} mm is no shim{hint}", where=where, name=name, value=value, hint=hint),
                    )
    for one in shelf.shims:
        value = one.shim_mm or 0.0
        if not low <= value <= high:
            yield stop("implausible_shim", "shelf.shims", Told("shelf: {value:g} mm is no shim", value=value))
    if not shelf.shims:
        yield stop("shelf_empty", "shelf.shims", Told("no shim on the shelf: enter what is in stock"))


def window_misprints(card: SpecCard) -> Iterator[Problem]:
    """Windows of the card whose two printed units disagree."""
    for one in card.windows:
        if one.also_printed_nm is None:
            continue
        for mine, other in zip((one.window.low_nm, one.window.high_nm), one.also_printed_nm, strict=True):
            if mine is None and other is None:
                continue
            if mine is None or other is None or abs(other - mine) > DISAGREE * max(mine, other):
                text = Told(
                    "the card prints {window}, and {n1:.3g} for {n2:.3g} N.m in its other unit: see the page",
                    window=one.window.text or one.window,
                    n1=other or 0,
                    n2=mine or 0,
                )
                yield stop("window_misprint", "window.also_printed", text)
                return
