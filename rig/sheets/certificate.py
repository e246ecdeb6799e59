"""A calibration certificate to read: a printed page, and rows for the terminal made of the same texts.

Every uncertainty on it is expanded, with its coverage factor, as a reader of a certificate expects (JCGM 100, 7.2.3). The class is
the workshop's own: its limits are printed beside it, and no published class is claimed.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.sensor.calibration import LIMITS_PER_CLASS, Classed, Findings, Step
from rig.files.certificate import Certificate, classed_by_direction
from rig.sheets import drawings
from rig.sheets.blocks import Block, Columns, Drawing, Facts, Heading, Label, Line, Page, Signature, Statement, Table, Text
from rig.sheets.phrases import Phrases
from rig.sheets.said import PAGE_OF, joined

COVERAGE_FACTOR = 2.0
"""k of the uncertainties on the page: about 95 % where the degrees of freedom are many (JCGM 100, 6.3.3)."""
WAY = {"forward": "first direction", "back": "other way"}
STANDING = (
    "Made in the workshop, with its own weights or reference; it is no certificate of an accredited laboratory. Readings taken "
    "later carry its uncertainty. Calibrate anew by the due date, and at once after an overload, a drop or a repair. "
    "The maker's manual, local rules and qualified persons decide."
)
NOT_STATED = "not stated"
FIGURE_NAMES = {
    "five loads": "five loads",
    "reproducibility": "reproducibility",
    "repeatability": "repeatability",
    "interpolation": "residual, mean of a load",
    "zero return": "zero left",
    "reversibility": "reversibility",
}


def certificate_page(certificate: Certificate, phrases: Phrases, *, software: str | None = None) -> Page:
    """The certificate as a page. The day it was made is the day that stands on it, whenever it is printed."""
    say = phrases.say
    by_direction = classed_by_direction(certificate)
    blocks: list[Block] = [
        Facts(tuple(facts(certificate, phrases))),
        Statement("plain", say("WORKSHOP CALIBRATION"), say(STANDING)),
    ]
    for name, (findings, classed) in by_direction.items():
        heads, rows = table_of(findings, phrases)
        blocks += [
            Heading(f"{say(WAY[name])}, {range_text(findings, phrases)}"),
            Table(heads, tuple(rows), "r" * len(heads), small=True),
            Columns(
                (
                    tuple(Text(line, small=True) for line in remarks(findings, classed, phrases)),
                    (_residuals(findings, phrases, say(WAY[name])),),
                ),
                (1.62, 1.0),
            ),
        ]
    blocks += [Text(line, small=True) for line in _legend(phrases)]
    blocks.append(Signature((say("day, by whom"), say("checked by"))))
    return Page(
        title=say("Calibration of a torque sensor"),
        subtitle=_sensor(certificate, phrases),
        right=joined(
            certificate.workshop or say("workshop not stated"),
            say("certificate {number}", number=certificate.number),
            say("made {day}", day=certificate.made.isoformat()),
            say("due {day}", day=certificate.due.isoformat()),
        ),
        blocks=tuple(blocks),
        foot=say("Workshop calibration, no certificate of an accredited laboratory.") + (f" {software}" if software else ""),
        page_of=say(PAGE_OF),
    )


def sheet_lines(certificate: Certificate, phrases: Phrases | None = None) -> Iterator[str]:
    """The certificate as rows to print on a terminal."""
    phrases = phrases or Phrases()
    say = phrases.say
    named = [(say("certificate"), certificate.number), (say("made"), certificate.made.isoformat())]
    rows = [*named, (say("due"), certificate.due.isoformat()), *facts(certificate, phrases)]
    width = max(len(name) for name, _ in rows) + 2
    for name, value in rows:
        yield f"{name:<{width}}{value}"
    for name, (findings, classed) in classed_by_direction(certificate).items():
        yield ""
        yield f"{say(WAY[name])}, {range_text(findings, phrases)}; {phrases.torque_unit()}"
        heads, cells = table_of(findings, phrases)
        widths = [max(map(len, column)) + 2 for column in zip(heads, *cells, strict=True)]
        for row in (heads, *cells):
            yield "".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True))
        yield from (f"  {line}" for line in remarks(findings, classed, phrases))


# -- the texts --------------------------------------------------------------------------------------------------------------------


def _sensor(certificate: Certificate, phrases: Phrases) -> str:
    serial = certificate.serial
    return certificate.sensor + (f", {phrases.say('no. {serial}', serial=serial)}" if serial else "")


def facts(certificate: Certificate, phrases: Phrases) -> list[tuple[str, str]]:
    """What is known of the whole, as names and values; what a reader needs and nobody stated is said to be missing."""
    say = phrases.say
    relative = phrases.number(100 * COVERAGE_FACTOR * certificate.u_relative, 2)
    capacity = None if certificate.capacity_nm is None else phrases.torque(certificate.capacity_nm)
    temperature = None if certificate.temperature_c is None else phrases.temperature(certificate.temperature_c)
    measured = certificate.measured or certificate.made
    return [
        (say("sensor"), _sensor(certificate, phrases)),
        (say("measured on"), measured.isoformat()),
        (say("capacity"), capacity or say(NOT_STATED)),
        (say("temperature"), temperature or say(NOT_STATED)),
        (say("reference"), certificate.method),
        (say("weights or reference no."), certificate.identity or say(NOT_STATED)),
        (say("U of the reference torque"), say("{share} % of it (k = 2)", share=relative)),
        (say("by"), certificate.by or say(NOT_STATED)),
    ]


def range_text(findings: Findings, phrases: Phrases) -> str:
    """The calibrated range, in words."""
    low, high = (phrases.torque(end) for end in (findings.function.low_nm, findings.function.high_nm))
    return phrases.say("calibrated from {low} to {high}", low=low, high=high)


def table_of(findings: Findings, phrases: Phrases) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Heads and rows of one direction: a row a load."""
    say = phrases.say
    heads = (
        say("torque"),
        say("indicated"),
        say("residual, mean"),
        say("largest single"),
        "U (k = 2)",
        say("reversibility"),
        say("repeatability"),
        say("reproducibility"),
    )
    return heads, [_cells(step, phrases) for step in findings.steps]


def _cells(step: Step, phrases: Phrases) -> tuple[str, ...]:
    def figure(value_nm: float | None) -> str:
        return "–" if value_nm is None else phrases.number(value_nm * phrases.torque_scale(), 3)

    return (
        figure(step.torque_nm),
        figure(step.indication_nm),
        figure(step.residual_nm),
        figure(step.largest_residual_nm),
        figure(COVERAGE_FACTOR * step.u_nm),
        figure(step.reversibility_nm),
        figure(step.repeatability_nm),
        figure(step.reproducibility_nm),
    )


def function_text(findings: Findings, phrases: Phrases) -> str:
    """The function in use, as it is applied."""
    terms = [
        f"{value:.6g} x" + ("" if power == 1 else f"^{power}") for power, value in enumerate(findings.function.coefficients, 1)
    ]
    return "T = " + phrases.marked(" + ".join(terms).replace("+ -", "- "))


def class_text(classed: Classed, phrases: Phrases) -> str:
    """The workshop's class with its limits, or why there is none."""
    say = phrases.say
    if classed.best is None:
        lacks = ", ".join(say(FIGURE_NAMES[name]) for name in classed.lacks)
        return (
            say("no workshop class: the points do not show {lacks}", lacks=lacks) if lacks else say("no workshop class: too coarse")
        )
    limits = ", ".join(
        f"{say(FIGURE_NAMES[name])} {phrases.marked(f'{share * classed.best:g}')} %" for name, share in LIMITS_PER_CLASS.items()
    )
    best = phrases.marked(f"{classed.best:g}")
    return say("workshop class {best} (ours, no published one): none beyond {limits}", best=best, limits=limits)


def remarks(findings: Findings, classed: Classed, phrases: Phrases) -> list[str]:
    """What stands under the table of one direction."""
    say = phrases.say
    unit, scale = phrases.torque_unit(), phrases.torque_scale()

    def figure(value_nm: float) -> str:
        return f"{phrases.number(value_nm * scale, 3)} {unit}"

    tried = ", ".join(f"{degree}: {figure(deviation)}" for degree, deviation in findings.deviations_nm)
    zero = (
        "" if findings.zero_return_nm is None else say("; zero left after a series: {zero}", zero=figure(findings.zero_return_nm))
    )
    largest = figure(max((abs(residual) for residual in findings.fit.residuals), default=0.0))
    scatter = say(
        "scatter about it {scatter} (standard deviation, {n} degrees of freedom), largest single residual {largest}",
        scatter=figure(findings.fit.deviation),
        n=findings.fit.degrees_of_freedom,
        largest=largest,
    )
    return [
        say("{function}, x the indication in N.m counted from rest, both as magnitudes", function=function_text(findings, phrases)),
        scatter + zero,
        say("scatter by degree of the polynomial, {tried}", tried=tried),
        class_text(classed, phrases),
    ]


def _legend(phrases: Phrases) -> list[str]:
    say = phrases.say
    return [
        say(
            "Torques in {unit}. U (k = 2): expanded uncertainty of a later reading at that torque, about 95 %; it holds the "
            "reference, the fit, reversibility, repeatability and the zero. Residual: reference less fitted torque. Spreads are "
            "the largest found.",
            unit=phrases.torque_unit(),
        ),
        say("Outside the calibrated range, and in a direction without a table, nothing is calibrated: readings there say so."),
    ]


# -- the residuals as a picture ---------------------------------------------------------------------------------------------------

MARK_MM = 0.9
"""Half the length of a cross."""
HEAD_ROOM = 1.25
"""The axis ends this much beyond the largest residual and U."""


def _residuals(findings: Findings, phrases: Phrases, way: str) -> Drawing:
    """Every single residual as a cross, with U (k = 2) as a band: what a mean would hide is seen."""
    say, scale = phrases.say, phrases.torque_scale()
    steps = findings.steps
    band = [COVERAGE_FACTOR * step.u_nm * scale for step in steps]
    singles = [(torque * scale, residual * scale) for torque, residual in findings.singles]
    most = max([*band, *(abs(residual) for _, residual in singles)], default=1.0) * HEAD_ROOM or 1.0
    frame = drawings.Frame(62.0, 40.0, (0.0, findings.function.high_nm * scale * 1.05), (-most, most), left_mm=12.0)
    title = say("residuals, {way}", way=way)
    empty = drawings.plot(
        frame,
        [],
        title=title,
        x_label=say("torque [{unit}]", unit=phrases.torque_unit()),
        y_label=say("residual [{unit}]", unit=phrases.torque_unit()),
        band=None,
        tick_text={tick: phrases.number(tick, 3 if most < 0.1 else 2) for tick in drawings.nice_ticks(-most, most)},
        alt=say("Residuals of every point against torque, with U as a band."),
    )
    corners = [frame.at(step.torque_nm * scale, u) for step, u in zip(steps, band, strict=True)]
    corners += [frame.at(step.torque_nm * scale, -u) for step, u in reversed(list(zip(steps, band, strict=True)))]
    shapes: list[Line | Label] = [Line(tuple(corners), width_pt=0, fill="band")] if len(steps) > 1 else []
    shapes += empty.shapes
    for torque, residual in singles:
        x, y = frame.at(torque, residual)
        shapes += [
            Line(((x - MARK_MM, y - MARK_MM), (x + MARK_MM, y + MARK_MM)), width_pt=0.6, ink="first"),
            Line(((x - MARK_MM, y + MARK_MM), (x + MARK_MM, y - MARK_MM)), width_pt=0.6, ink="first"),
        ]
    return Drawing(empty.width_mm, empty.height_mm, empty.alt, tuple(shapes))
