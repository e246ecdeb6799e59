"""What is stated of a sensor's uncertainty and of the scatter between pulls: text to a value that says what it means.

>>> parse_uncertainty("within 0.5 % of range").sentence()
"'within 0.5 % of range' taken as limits of 0.5 % of the sensor's range, every value between them as likely (JCGM 100, 4.3.7)"
>>> parse_uncertainty("U 1.0 % (k=2)").u_relative
0.005
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from enum import StrEnum

from analysis.bounds import TORQUE_MOST_NM
from analysis.distributions import RECTANGULAR
from analysis.errors import BenchError, UnitError, quoted
from analysis.units import LONGEST_TEXT, number, parse_measure, split_quantity


class StatedError(BenchError):
    """An uncertainty or a scatter that could not be read."""


class Meaning(StrEnum):
    """How a stated figure becomes a standard uncertainty."""

    STANDARD = "standard"
    LIMITS = "limits"
    EXPANDED = "expanded"


class Base(StrEnum):
    """What a stated share is a share of; a torque is a share of nothing."""

    TORQUE = "torque"
    READING = "reading"
    RANGE = "range"


@dataclass(frozen=True, slots=True)
class StatedUncertainty:
    """A sensor's uncertainty as stated. `figure` is in N.m (base TORQUE) or a share of 1; k counts where `meaning` is EXPANDED."""

    figure: float
    base: Base
    meaning: Meaning
    k: float = 1.0
    unit: str = field(default="", compare=False)
    text: str = field(default="", compare=False)

    @property
    def standard(self) -> float:
        """The standard uncertainty: in N.m, or a share of what `base` says. Limits are rectangular (JCGM 100, 4.3.7)."""
        return self.figure / (RECTANGULAR if self.meaning is Meaning.LIMITS else self.k)

    @property
    def u_relative(self) -> float | None:
        """Standard uncertainty as a share of the reading; None where it is no such share."""
        return self.standard if self.base is Base.READING else None

    def u_nm(self, capacity_nm: float | None) -> float | None:
        """Standard uncertainty in N.m; None where it is a share of the reading.

        Raises StatedError where the range is needed and unknown.
        """
        if self.base is Base.TORQUE:
            return self.standard
        if self.base is Base.READING:
            return None
        if capacity_nm is None:
            what = f"{quoted(self.text)} is a share of the sensor's range, and the range is not known"
            raise StatedError(what, remedy="state the uncertainty in N.m, or the capacity in profile or metadata")
        return self.standard * capacity_nm

    def sentence(self) -> str:
        """Which meaning was taken."""
        size = f"{100 * self.figure:.4g} %" if self.base is not Base.TORQUE else f"{self.figure:.4g} N.m"
        of = {Base.TORQUE: "", Base.READING: " of the reading", Base.RANGE: " of the sensor's range"}[self.base]
        how = {
            Meaning.STANDARD: f"a standard uncertainty of {size}{of}",
            Meaning.LIMITS: f"limits of {size}{of}, every value between them as likely (JCGM 100, 4.3.7)",
            Meaning.EXPANDED: f"an expanded uncertainty of {size}{of}, k = {self.k:g}",
        }[self.meaning]
        return f"{quoted(self.text)} taken as {how}"


FORMS = "'0.5 N.m', '0.5 %', '0.5 % of range', 'within 0.5 % of range' or 'U 1.0 % (k=2)'"
_OF_RANGE = re.compile(
    r"\s*(?:\b(?:of|v\.?)\s*)?(?:\b(?:the\s+)?(?:sensor'?s\s+)?(?:full[\s-]?scale|range|capacity|rated(?:\s+output)?|span|endwert|e\.|messbereich)"
    r"|\b(?:F\.?S\.?O?|R\.?O)\b\.?)\s*$",
    re.I,
)
_OF_READING = re.compile(r"\s*\b(?:of\s+(?:the\s+)?|v\.?\s*)?(?:reading|rdg|indicated value|messwert|m\.)\s*$", re.I)
_LIMITS = re.compile(r"^\s*(?:within|±|\+/-|\+-|limits?(?:\s+of)?|error(?:\s+of)?|max\.?|innerhalb)\s*", re.I)
_EXPANDED = re.compile(r"^\s*U\s*[=:]?\s*(?=[\d.,])")
_K = re.compile(r"[\s,;(]*\bk\s*=\s*(?P<k>[\d.,]+)\s*\)?\s*$", re.I)
_K_MOST = 4.0
"""Coverage factors on certificates are 2 to some 3.3; what is larger is no coverage factor."""
_USUAL_K = 2.0
"""An expanded uncertainty without its k: the factor of nearly all certificates (common practice; JCGM 100, 6.3.3)."""


def parse_uncertainty(text: str) -> StatedUncertainty:
    """Read the uncertainty of a torque sensor.

    Taken are '0.5 N.m' and '0.5 %' (standard; per cent of the reading), '0.5 % of range' (standard), 'within 0.5 % of range' or
    '+/- 0.5 N.m' (limits), 'U 1.0 % (k=2)' (expanded; without a k, 2).

    Raises
    ------
    StatedError
        If it is none of these, not above zero, or beyond belief.
    """
    refusal = StatedError(f"{quoted(text)} is not an uncertainty", remedy=f"write it like {FORMS}")
    rest, meaning, k = " ".join(text.split()), Meaning.STANDARD, 1.0
    if len(rest) > LONGEST_TEXT:
        raise refusal
    if match := _EXPANDED.match(rest):
        rest, meaning, k = rest[match.end() :], Meaning.EXPANDED, _USUAL_K
    elif match := _LIMITS.match(rest):
        rest, meaning = rest[match.end() :], Meaning.LIMITS
    base = None
    try:
        if match := _K.search(rest):
            if meaning is not Meaning.EXPANDED:
                meaning = Meaning.EXPANDED
            k, rest = number(match["k"].rstrip(".,")), rest[: match.start()]
            if not 1 <= k <= _K_MOST:
                raise StatedError(f"k = {k:g} in {quoted(text)} is no coverage factor", remedy="it lies between 1 and 4, mostly 2")
        for pattern, of in ((_OF_RANGE, Base.RANGE), (_OF_READING, Base.READING)):
            if base is None and (match := pattern.search(rest)):
                rest, base = rest[: match.start()], of
        if match := _K.search(rest):
            raise refusal
        _, unit = split_quantity(rest)
        if not unit:
            raise StatedError(f"{quoted(text)} has no unit", remedy=f"write it like {FORMS}")
        is_share = unit.lower() in ("%", "percent", "per cent", "pct", "‰", "ppm")
        figure = parse_measure(rest, "relative" if is_share else "torque").si
    except UnitError as fault:
        raise StatedError(f"{quoted(text)} is not an uncertainty ({fault.what})", remedy=f"write it like {FORMS}") from fault
    if is_share:
        base = base or Base.READING
    elif base is not None:
        raise refusal  # N.m of a range
    stated = StatedUncertainty(figure, base or Base.TORQUE, meaning, k, unit, text)
    if not 0 < stated.standard < (1.0 if is_share else TORQUE_MOST_NM):
        what = f"{quoted(text)} is " + ("not above zero" if stated.standard <= 0 else "more than any sensor's")
        raise StatedError(what, remedy=f"write it like {FORMS}")
    return stated


@dataclass(frozen=True, slots=True)
class StatedScatter:
    """Scatter from pull to pull, a standard deviation as a share of the reading, and how well it is known; None: exactly."""

    relative: float
    degrees_of_freedom: float | None
    text: str = field(default="", compare=False)


USUAL_DEGREES = 4.0
"""Of a scatter that is stated without them: as good as five pulls (contract, section 3)."""
_DEGREES_MOST = 1e6
"""More are a typing error: nobody pulled a million times."""
_SCATTER_MOST = 0.5
"""Half the reading: pulls of one unit that differ more are not one series."""


def parse_scatter(text: str) -> StatedScatter:
    """Read the scatter between pulls.

    Taken are '4 %' (known as well as five pulls tell it), '4 % (12)' (degrees of freedom), '0 %' (exactly). Raises StatedError.

    >>> parse_scatter("4 % (12)")
    StatedScatter(relative=0.04, degrees_of_freedom=12.0, text='4 % (12)')
    """
    expected = "write it like '4 %', '4 % (12)' with degrees of freedom, or '0 %'"
    refusal = StatedError(f"{quoted(text)} is not a scatter", remedy=expected)
    form = r"\s*([\d.,]+)\s*(?:%|percent|pct)\s*(?:\(\s*(\d+(?:\.\d+)?)\s*\))?\s*"
    match = re.fullmatch(form, text) if len(text) <= LONGEST_TEXT else None
    if match is None:
        raise refusal
    try:
        relative = number(match[1]) / 100
    except UnitError as fault:
        raise refusal from fault
    degrees = USUAL_DEGREES if match[2] is None else float(match[2])
    if not 0 <= relative <= _SCATTER_MOST or not 1 <= degrees <= _DEGREES_MOST:
        raise refusal
    return StatedScatter(relative, degrees if relative else None, text)
