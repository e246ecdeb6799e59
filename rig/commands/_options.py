"""Options that several verbs share, and what they mean: an option, else the settings, else a default."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

from analysis.bounds import REST_MOST_S, TEMPERATURE_C
from analysis.errors import UnitError, quoted
from rig.commands._book import add_book
from rig.errors import ArgumentError
from rig.words.arrangements import ARRANGEMENTS

if TYPE_CHECKING:  # these pull in numpy and pint, which `platepull --help` can do without
    from analysis.judgement import DecisionRule
    from analysis.units import Quantity
    from analysis.verdict.apart import Scatter
    from analysis.window import Window
    from rig.settings import Settings


def add_judging(parser: argparse.ArgumentParser) -> None:
    """The options that say what a pull is held against, and in what unit it is told."""
    parser.add_argument("--window", metavar="W", help="what to judge against, such as '25..45 lbf.ft', '10.. N.m', '..25 N.m'")
    parser.add_argument("--spec", metavar="SPEC.toml", help="spec card of the unit: its window, arrangement and plate state")
    parser.add_argument("--basis", choices=("breakaway", "sliding"), help="the torque the window applies to (breakaway)")
    parser.add_argument(
        "--u",
        metavar="U",
        help="uncertainty of the torque sensor: '0.5 N.m' and '0.5 %%' (standard, of the reading), '0.5 %% of range',"
        " 'within 0.5 %% of range' (limits), 'U 1.0 %% (k=2)'",
    )
    parser.add_argument(
        "--scatter",
        metavar="S",
        help="scatter from pull to pull that is known of the bench: '4 %%' (the default), '4 %% (12)' with its degrees of freedom,"
        " '0 %%': a verdict on these pulls alone",
    )
    parser.add_argument(
        "--certificate", metavar="C.json", help="calibration certificate of the torque sensor (see 'platepull calibrate')"
    )
    parser.add_argument(
        "--rule",
        choices=("guarded", "simple"),
        help="guarded (default): undecided where a limit lies within the expanded uncertainty; simple: the value alone decides",
    )
    parser.add_argument("--unit", metavar="UNIT", help="unit of torque in what is printed (N.m); JSON always speaks N.m")


def window_of(text: str | None, basis: str | None) -> Window | None:
    """The window that was typed; None where none was. Raises WindowError or UnitError."""
    from analysis.window import Basis, Window

    return None if text is None else Window.parse(text, Basis(basis or Basis.BREAKAWAY))


def arm_of(text: str | None) -> float | None:
    """The lever arm in m for curves of force and position; None where none was given. Raises ArgumentError or UnitError."""
    from analysis.units import to_si

    arm_m = None if text is None else to_si(text, "length")
    if arm_m is not None and arm_m <= 0:
        raise ArgumentError("an arm must be longer than nothing", where="--arm", remedy="write it like '0.6 m'")
    return arm_m


def rule_of(text: str | None) -> DecisionRule:
    """The decision rule of that name. Raises ArgumentError."""
    from analysis.judgement import DecisionRule

    try:
        return DecisionRule(text or DecisionRule.GUARDED)
    except ValueError:
        raise ArgumentError(f"'{text}' is not a decision rule", remedy="use guarded or simple") from None


def scatter_of(text: str | None) -> Scatter:
    """The scatter from pull to pull that is known of the bench; the usual one where none is stated. Raises StatedError."""
    from analysis.stated import parse_scatter
    from analysis.verdict.apart import Scatter
    from analysis.verdict.scatter import NO_SCATTER, USUAL_SCATTER

    if text is None:
        return USUAL_SCATTER
    stated = parse_scatter(text)
    return NO_SCATTER if stated.degrees_of_freedom is None else Scatter(stated.relative, stated.degrees_of_freedom)


def unit_of(text: str | None) -> str:
    """The unit to print torque in, known to be one. Raises UnitError."""
    from analysis.units import scale_to_si

    scale_to_si(text or "N.m", "torque")
    return text or "N.m"


def unit_for(args: argparse.Namespace, settings: Settings, window: Window | None) -> str:
    """The unit to print torque in: of `--unit`, else of the window as it was typed, else of the settings. Raises UnitError."""
    typed = window.unit if window is not None and (args.window is not None or settings.unit is None) else None
    return unit_of(args.unit or typed or settings.unit)


_SENTENCES = "; ".join(f"{one.code} {one.what}" for one in ARRANGEMENTS)

STATED = {
    "arrangement": ("|".join(one.code for one in ARRANGEMENTS), f"who is held and who turns: {_SENTENCES}"),
    "closure": ("trial|final", "how the case is closed: two or three screws, or every bolt at its torque"),
    "lubricant": ("TEXT", "the oil on the plates"),
    "additive": ("TEXT", "the friction modifier in it, 'none' where there is none"),
    "plates": ("TEXT", "which pack of plates is in"),
    "plate_state": ("new|run_in|used", "state of the plates"),
    "temperature": ("T", "of the unit, such as '21 degC'"),
    "rest": ("T", "how long the unit rests before each pull, such as '30 s'"),
    "lever": ("TEXT", "the lever in use"),
    "adapter": ("TEXT", "the adapter between sensor and unit"),
}
"""What a person can state of pulls, by option: what to write, and what it means."""


def add_stated(parser: argparse.ArgumentParser) -> None:
    """The options that say how it was pulled."""
    for name, (form, meaning) in STATED.items():
        parser.add_argument(f"--{name.replace('_', '-')}", metavar=form, help=meaning)


def add_job(parser: argparse.ArgumentParser) -> None:
    """The options that say what is on the bench; they go into each recording's metadata."""
    parser.add_argument(
        "--job", metavar="NUMBER", help="the job of the book that each pull is entered in as it lands ('last': the one opened last)"
    )
    add_book(parser)
    parser.add_argument("--customer", metavar="TEXT", help="whose unit it is")
    parser.add_argument("--unit-id", metavar="TEXT", help="what is on the bench: type and number of the unit")
    parser.add_argument("--series", metavar="TEXT", help="the series, such as 'as found' or 'rebuilt'")
    parser.add_argument("--phase", metavar="TEXT", help="as found, rebuilt, after run-in, after additive ...")
    add_stated(parser)
    parser.add_argument("--who", metavar="TEXT", help="initials of who pulls")


def stated_info(args: argparse.Namespace) -> dict[str, Any]:
    """What the options of `add_stated` say, by the keys of the metadata; what was not said is left out. Raises ArgumentError."""
    found: dict[str, Any] = {name: text for name in STATED if (text := getattr(args, name)) is not None}
    if (text := found.get("arrangement")) is not None:
        found["arrangement"] = _one_of(text.upper(), [one.code for one in ARRANGEMENTS], "--arrangement")
    if (text := found.get("closure")) is not None:
        found["closure"] = _one_of(text.lower(), ("trial", "final"), "--closure")
    if (text := found.get("plate_state")) is not None:
        found["plate_state"] = _one_of(text.lower().replace(" ", "_"), ("new", "run_in", "used"), "--plate-state")
    if (text := found.pop("temperature", None)) is not None:
        found["temperature_c"] = _quantity(text, "temperature", "degC", TEMPERATURE_C, "--temperature")
    if (text := found.pop("rest", None)) is not None:
        found["rest_s"] = _quantity(text, "time", "s", (0.0, REST_MOST_S), "--rest")
    return found


def _one_of(text: str, choices: Sequence[str], where: str) -> str:
    if text.strip() not in choices:
        raise ArgumentError(f"{quoted(text)} is not one of them", where=where, remedy=f"use {', '.join(choices)}")
    return text.strip()


def _quantity(text: str, kind: Quantity, usual: str, limits: tuple[float, float], where: str) -> float:
    """What an option states, in SI; a bare number is of the usual unit. Raises ArgumentError."""
    from analysis.units import split_quantity, to_si

    try:
        value = to_si(text if split_quantity(text)[1] else f"{text} {usual}", kind)
    except UnitError as fault:
        raise ArgumentError(fault.what, where=where, remedy=fault.remedy) from fault
    if not limits[0] <= value <= limits[1]:
        raise ArgumentError(f"{quoted(text)} is beyond belief", where=where, remedy="check number and unit")
    return value


def add_exercise(parser: argparse.ArgumentParser) -> None:
    """The option to begin with the sensor's exercise."""
    parser.add_argument(
        "--exercise", action="store_true", help="begin with loads that exercise the sensor; they are neither recorded nor judged"
    )


Number = TypeVar("Number", int, float)


def positive(kind: Callable[[str], Number]) -> Callable[[str], Number]:
    """An argparse type: a number above zero."""

    def read(text: str) -> Number:
        value = kind(text)
        if not 0 < value < math.inf:
            raise argparse.ArgumentTypeError(f"'{text}' is not above zero")
        return value

    read.__name__ = "number"  # argparse names the type in its complaint
    return read
