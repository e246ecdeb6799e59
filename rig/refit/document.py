"""REFIT.toml as a value: what was measured and what the maker's page wants, in mm, N.m, degrees and litres.

Nothing here judges. A text without a unit, a wrong kind or a missing key is refused with the file, the section and the key;
unknown keys are kept by the file and ignored here.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analysis.errors import UnitError
from analysis.refit.bearing_gap import BearingReadings, Form
from analysis.refit.limits import Limits
from analysis.units import Quantity, parse_range, to_si
from rig.errors import RefitError

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

INSIDE: dict[Quantity, float] = {"length": 1000.0, "torque": 1.0, "volume": 1000.0, "angle": 1.0, "relative": 1.0}
"""What turns the unit registry's SI into the units of a refit: mm, N.m, litres, degrees, shares of 1."""
EXAMPLES: dict[Quantity, str] = {"length": "0.12 mm", "torque": "1.2 N.m", "volume": "2.0 l", "angle": "90 deg", "relative": "4 %"}


@dataclass(frozen=True, slots=True)
class BearingPart:
    """A pair of bearings."""

    name: str
    readings: BearingReadings


@dataclass(frozen=True, slots=True, kw_only=True)
class DragPart:
    """Drag of bearings, by readings or by traces (paths as the sheet names them)."""

    name: str
    torque_nm: tuple[float, ...] = ()
    traces: tuple[str, ...] = ()
    window: Limits | None
    variation_max_nm: float | None
    sensor_u_nm: float | None
    set_after: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BacklashPart:
    """Backlash round a gear, as the dial showed it."""

    name: str
    points_mm: tuple[float, ...]
    window: Limits | None
    variation_max_mm: float | None
    gear_over_dial: float
    backlash_per_shim: float | None
    u_mm: float
    set_after: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FastenerPart:
    """A group of bolts. `reused` is None where the sheet does not say."""

    name: str
    count: int
    torque_nm: float
    tolerance: float
    stages: tuple[float, ...]
    angle_deg: float | None
    angle_tolerance_deg: float
    locked_by: str | None
    thread: str
    reused: bool | None
    single_use: bool
    threads: str | None
    peaks_nm: tuple[float | None, ...]
    angles_deg: tuple[float | None, ...]
    traces: tuple[str | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FillPart:
    """Oil in and out, and its additive."""

    name: str
    filled_l: float
    drained_l: float | None
    wanted: Limits | None
    additive_wanted_l: float | None
    additive_added_l: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RefitSheet:
    """A whole sheet; `path` is the file, traces stand relative to its folder."""

    path: Path
    unit: str | None
    page: str | None
    bearings: tuple[BearingPart, ...]
    drags: tuple[DragPart, ...]
    backlashes: tuple[BacklashPart, ...]
    fasteners: tuple[FastenerPart, ...]
    fills: tuple[FillPart, ...]


def read_refit(path: Path) -> RefitSheet:
    """Read a refit sheet. Raises RefitError."""
    where = str(path)
    content = _toml(path)
    head = _Section(where, "refit", content.get("refit", {}))
    parts: dict[str, list[Any]] = {
        name: [read(_Section(where, label, table)) for label, table in _tables(where, name, content)]
        for name, read in _READERS.items()
    }
    if not any(parts.values()):
        sections = ", ".join(f"[[{name}]]" for name in _READERS)
        near = difflib.get_close_matches(" ".join(content), _READERS, 1)
        hint = f"; is [[{near[0]}]] meant?" if near else ""
        raise RefitError("there is no part in it", where=where, remedy=f"add a section of {sections}{hint}")
    return RefitSheet(
        path=path,
        unit=head.word("unit", None),
        page=head.word("page", None),
        bearings=tuple(parts["bearing"]),
        drags=tuple(parts["drag"]),
        backlashes=tuple(parts["backlash"]),
        fasteners=tuple(parts["fasteners"]),
        fills=tuple(parts["fill"]),
    )


def _toml(path: Path) -> dict[str, Any]:
    where = str(path)
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise RefitError("there is no such file", where=where, remedy="check the name") from None
    except (OSError, UnicodeDecodeError) as fault:
        raise RefitError(f"cannot be read ({fault})", where=where, remedy="name a text file in UTF-8") from fault
    except tomllib.TOMLDecodeError as fault:
        raise RefitError(f"this is not TOML: {fault}", where=where, remedy="correct that line") from fault
    except (RecursionError, ValueError) as fault:
        raise RefitError("this is not a refit sheet", where=where, remedy="start from platepull refit --template") from fault


def _tables(where: str, name: str, content: dict[str, Any]) -> list[tuple[str, object]]:
    """The sections of a name, with a label each for messages; one may stand in single brackets."""
    value = content.get(name, [])
    if isinstance(value, dict):
        return [(name, value)]
    if not isinstance(value, list):
        raise RefitError(f"'{name}' is no section", where=where, remedy=f"write [[{name}]]")
    return [(f"{name} {number}" if len(value) > 1 else name, each) for number, each in enumerate(value, start=1)]


class _Section:
    """One section, read key by key; every refusal names file, section and key."""

    def __init__(self, where: str, label: str, content: object) -> None:
        if not isinstance(content, dict):
            raise RefitError(f"'{label}' is no section", where=where, remedy=f"write [[{label}]] and its keys below")
        self.where = f"{where}, [{label}]"
        self.content: dict[str, Any] = content

    def refuse(self, key: str, what: str, expected: str) -> RefitError:
        return RefitError(f"key '{key}' {what}", where=self.where, remedy=f"expected {expected}")

    def missing(self, key: str, expected: str) -> RefitError:
        near = difflib.get_close_matches(key, self.content, 1)
        hint = f" (is '{near[0]}' meant for it?)" if near else ""
        return self.refuse(key, f"is missing{hint}", expected)

    def _of_kind(self, key: str, kind: type, expected: str) -> Any:
        value = self.content.get(key)
        if value is not None and (not isinstance(value, kind) or isinstance(value, bool) is not (kind is bool)):
            raise self.refuse(key, f"is {str(value)[:40]!r}", expected)
        return value

    def word(self, key: str, default: str | None = "") -> str | None:
        """A text; required where the default is the empty text."""
        value: str | None = self._of_kind(key, str, "a text in quotes")
        if value is None and default == "":
            raise self.missing(key, "a text in quotes")
        return default if value is None else value

    def name(self) -> str:
        return self.word("name") or "unnamed"

    def choice(self, key: str, choices: tuple[str, ...], default: str | None = "") -> str | None:
        """One of some words; required where the default is the empty text."""
        expected = "one of " + ", ".join(f'"{each}"' for each in choices)
        value: str | None = self._of_kind(key, str, expected)
        if value is None:
            if default == "":
                raise self.missing(key, expected)
            return default
        if value not in choices:
            near = difflib.get_close_matches(value, choices, 1)
            raise self.refuse(key, f"is {value!r}" + (f", did you mean '{near[0]}'?" if near else ""), expected)
        return value

    def flag(self, key: str) -> bool:
        return bool(self._of_kind(key, bool, "true or false"))

    def whole(self, key: str, low: int, high: int) -> int | None:
        expected = f"a whole number from {low} to {high}, without a unit"
        value: int | None = self._of_kind(key, int, expected)
        if value is not None and not low <= value <= high:
            raise self.refuse(key, f"is {value}", expected)
        return value

    def _convert(self, key: str, text: object, quantity: Quantity) -> float:
        expected = f'a number with a unit in quotes, such as "{EXAMPLES[quantity]}"'
        if not isinstance(text, str):
            raise self.refuse(key, f"is {str(text)[:40]}", expected)
        try:
            return to_si(text, quantity) * INSIDE[quantity]
        except UnitError as fault:
            raise self.refuse(key, f"is {text[:40]!r}: {fault.what}", expected) from None

    def measure(self, key: str, quantity: Quantity, *, above_zero: bool = False) -> float | None:
        """A number with a unit; None where it is missing."""
        if key not in self.content:
            return None
        value = self._convert(key, self.content[key], quantity)
        if above_zero and value <= 0:
            raise self.refuse(key, f"is {self.content[key]!r}", "a value above zero")
        return value

    def needed(self, key: str, quantity: Quantity) -> float:
        """A number with a unit, above zero, that has to be there."""
        value = self.measure(key, quantity, above_zero=True)
        if value is None:
            raise self.missing(key, f'a number with a unit in quotes, such as "{EXAMPLES[quantity]}"')
        return value

    def uncertainty(self, key: str, quantity: Quantity, default: float) -> float:
        value = self.measure(key, quantity)
        if value is not None and value < 0:
            raise self.refuse(key, f"is {self.content[key]!r}", "a standard uncertainty, not below zero")
        return default if value is None else value

    def _texts(self, key: str) -> list[object]:
        value = self.content.get(key, [])
        return value if isinstance(value, list) else [value]

    def measures(self, key: str, quantity: Quantity) -> tuple[float, ...]:
        """A list of numbers with units, or a single one; empty where the key is missing."""
        return tuple(self._convert(key, text, quantity) for text in self._texts(key))

    def readings(self, key: str, quantity: Quantity) -> tuple[float, ...]:
        """The same, at least one."""
        values = self.measures(key, quantity)
        if not values:
            raise self.missing(key, f'a list of readings, such as ["{EXAMPLES[quantity]}"]')
        return values

    def recorded(self, key: str, quantity: Quantity) -> tuple[float | None, ...]:
        """The same; "-" stands for one that was not recorded."""
        return tuple(None if text == "-" else self._convert(key, text, quantity) for text in self._texts(key))

    def paths(self, key: str) -> tuple[str, ...]:
        texts = self._texts(key)
        if not all(isinstance(text, str) and text for text in texts):
            raise self.refuse(key, "is no list of file names", 'such as ["drag.csv"]')
        return tuple(str(text) for text in texts)

    def limits(self, key: str, quantity: Quantity, *, both: bool = False) -> Limits | None:
        """A window, in its two ends; None where it is missing."""
        example = EXAMPLES[quantity].split(" ")[-1]
        expected = f'a window in quotes, such as "0.7..3.4 {example}"'
        if key not in self.content:
            return None
        text = self._of_kind(key, str, expected)
        try:
            found = parse_range(text, quantity)
            scale = INSIDE[quantity]
            window = Limits(*(None if end is None else end * scale for end in (found.low, found.high)))
        except (UnitError, ValueError) as fault:
            what = fault.what if isinstance(fault, UnitError) else str(fault)
            raise self.refuse(key, f"is {text[:40]!r}: {what}", expected) from None
        if both and window.middle is None:
            raise self.refuse(key, f"is {text[:40]!r}", "both ends, for its middle is aimed at")
        return window


def _bearing(section: _Section) -> BearingPart:
    form = Form(section.choice("form", tuple(Form)) or "")
    depths = form is Form.DEPTHS
    # Depths are measured from the case: without a word a thicker shim loads the bearing. Of a gap or an end play both are usual.
    sign = section.choice("thicker_shim", ("more preload", "less preload"), "more preload" if depths else "")
    wanted = section.limits("wanted", "length", both=True)
    if wanted is None:
        raise section.missing("wanted", 'the interference that the page wants, such as "0.15..0.21 mm"')
    shims_now = section.measures("shims_now", "length")
    if not depths and "shims_now" not in section.content:
        raise section.missing("shims_now", 'the shims fitted while measuring, such as ["1.10 mm"], or [] for none')
    turned = section.content.get("turned")
    if turned is not None and (not isinstance(turned, int | float) or isinstance(turned, bool) or not math.isfinite(turned)):
        raise section.refuse("turned", f"is {turned!r}", "how many turns, without a unit")
    spread = section.measure("spread_max", "length")
    return BearingPart(
        section.name(),
        BearingReadings(
            form=form,
            readings=section.readings("depth_case" if depths else str(form), "length"),
            depth_bearing=section.readings("depth_bearing", "length") if depths else (),
            wanted=wanted,
            shims_now=shims_now,
            thicker_loads=sign == "more preload",
            shelf=section.measures("shelf", "length"),
            shims_max=section.whole("shims_max", 0, 1000),
            turned=turned,
            spread_max_mm=SPREAD_MAX_MM if spread is None else spread,
            u_mm=section.uncertainty("u", "length", DEPTH_U_MM if depths else LENGTH_U_MM),
        ),
    )


def _drag(section: _Section) -> DragPart:
    traces = section.paths("traces")
    if traces and "torque" in section.content:
        raise section.refuse("torque", "stands beside 'traces'", "one of the two")
    u = section.measure("sensor_u", "torque")
    if u is not None and u < 0:
        raise section.refuse("sensor_u", f"is {section.content['sensor_u']!r}", "a standard uncertainty, not below zero")
    return DragPart(
        name=section.name(),
        torque_nm=() if traces else section.readings("torque", "torque"),
        traces=traces,
        window=section.limits("window", "torque"),
        variation_max_nm=section.measure("variation_max", "torque"),
        sensor_u_nm=u,
        set_after=section.word("set_after", None),
    )


_PER_SHIM = re.compile(r"\s*(.+?)\s+(?:per|/|a)\s+(.+?)\s*", re.I)


def _backlash(section: _Section) -> BacklashPart:
    radii = [section.measure(key, "length", above_zero=True) for key in ("gear_radius", "dial_radius")]
    gear, dial = radii
    if (gear is None) is not (dial is None):
        key = "gear_radius" if gear is None else "dial_radius"
        raise section.missing(key, "both radii, or none where the dial stands at the pitch radius")
    per_shim = None
    if (text := section.word("per_shim", None)) is not None:
        parts = _PER_SHIM.fullmatch(text)
        expected = 'a change of backlash for a shim moved across, such as "0.075 mm per 0.10 mm"'
        if parts is None:
            raise section.refuse("per_shim", f"is {text[:40]!r}", expected)
        change, shim = (section._convert("per_shim", part, "length") for part in parts.groups())
        if change <= 0 or shim <= 0:
            raise section.refuse("per_shim", f"is {text[:40]!r}", expected)
        per_shim = change / shim
    return BacklashPart(
        name=section.name(),
        points_mm=section.readings("points", "length"),
        window=section.limits("window", "length"),
        variation_max_mm=section.measure("variation_max", "length"),
        gear_over_dial=1.0 if gear is None or dial is None else gear / dial,
        backlash_per_shim=per_shim,
        u_mm=section.uncertainty("u", "length", LENGTH_U_MM),
        set_after=section.word("set_after", None),
    )


def _fasteners(section: _Section) -> FastenerPart:
    count = section.whole("count", 1, MOST_BOLTS)
    if count is None:
        raise section.missing("count", "the number of bolts")
    angle = section.measure("angle", "angle", above_zero=True)
    angle_tolerance = section.measure("angle_tolerance", "angle")
    if angle is not None and angle_tolerance is None:
        raise section.missing("angle_tolerance", 'the page\'s tolerance of the angle, such as "5 deg"')
    traces = tuple(None if name == "-" else name for name in section.paths("traces"))
    if traces and "peaks" in section.content:
        raise section.refuse("peaks", "stands beside 'traces'", "one of the two")
    peaks = section.recorded("peaks", "torque")
    angles = section.recorded("angles", "angle")
    for key, values in (("peaks", peaks), ("angles", angles), ("traces", traces)):
        if len(values) > count:
            raise section.refuse(key, f"has {len(values)} entries", f"at most one a bolt ({count})")
    tolerance = section.measure("tolerance", "relative")
    state = section.choice("state", ("new", "reused"), None)
    return FastenerPart(
        name=section.name(),
        count=count,
        torque_nm=section.needed("torque", "torque"),
        tolerance=TOLERANCE if tolerance is None else tolerance,
        stages=section.measures("stages", "relative") or STAGES,
        angle_deg=angle,
        angle_tolerance_deg=angle_tolerance or 0.0,
        locked_by=section.word("locked_by", None),
        thread=section.choice("thread", ("right", "left"), "right") or "right",
        reused=None if state is None else state == "reused",
        single_use=section.flag("single_use"),
        threads=section.choice("threads", ("dry", "oiled", "threadlock"), None),
        peaks_nm=tuple(None if peak is None else abs(peak) for peak in peaks),
        angles_deg=tuple(None if turned is None else abs(turned) for turned in angles),
        traces=traces,
    )


def _fill(section: _Section) -> FillPart:
    filled = section.measure("filled", "volume")
    if filled is None:
        raise section.missing("filled", 'the volume filled, such as "2.0 l"')
    dose = None
    if (text := section.word("additive", None)) is not None:
        dose = (
            section._convert("additive", text, "relative") * filled if "%" in text else section._convert("additive", text, "volume")
        )
    return FillPart(
        name=section.name(),
        filled_l=filled,
        drained_l=section.measure("drained", "volume"),
        wanted=section.limits("wanted", "volume"),
        additive_wanted_l=dose,
        additive_added_l=section.measure("additive_added", "volume"),
    )


_READERS: dict[str, Callable[[_Section], Any]] = {
    "bearing": _bearing,
    "drag": _drag,
    "backlash": _backlash,
    "fasteners": _fasteners,
    "fill": _fill,
}
