"""The certificate to read: rows for the terminal, and one page of HTML for the printed sheet."""

from __future__ import annotations

import html
from collections.abc import Iterator

from analysis.sensor.calibration import SCHEME, Classed, Findings, Step
from rig.files.certificate import Certificate, classed_by_direction
from rig.words.sentences import figure

WAY = {"forward": "first direction", "back": "other direction"}
STANDING = (
    "Made in the workshop, with its own weights or reference; it is no certificate of an accredited laboratory. Readings taken "
    "later carry its uncertainty. Calibrate anew by the due date, and at once after an overload, a drop or a repair. "
    "The maker's manual, local rules and qualified persons decide."
)
_COLUMNS = ("torque", "indicated", "residual", "u", "reversibility", "repeatability", "reproducibility")


def facts(certificate: Certificate) -> list[tuple[str, str]]:
    """What is known of the whole, as names and values."""
    known = (
        ("number", certificate.number),
        ("sensor", certificate.sensor + (f", serial {certificate.serial}" if certificate.serial else "")),
        ("capacity", None if certificate.capacity_nm is None else f"{certificate.capacity_nm:g} N.m"),
        ("made", certificate.made.isoformat() + (f" by {certificate.by}" if certificate.by else "")),
        ("due", certificate.due.isoformat()),
        ("temperature", None if certificate.temperature_c is None else f"{certificate.temperature_c:g} degC"),
        ("reference", certificate.method),
        ("reference's u", f"{100 * certificate.u_relative:.2g} % (standard uncertainty)"),
    )
    return [(name, value) for name, value in known if value is not None]


def function_text(findings: Findings) -> str:
    """The function in use, as it is applied."""
    terms = [
        f"{value:.6g} x" + ("" if power == 1 else f"^{power}") for power, value in enumerate(findings.function.coefficients, 1)
    ]
    return "T = " + " + ".join(terms).replace("+ -", "- ")


def class_text(classed: Classed) -> str:
    """The class, or why there is none."""
    if classed.best is None:
        return f"no class: {classed.why}"
    return f"class {classed.best:g} after {SCHEME} (indicative: by limits kept from memory)"


def remarks(findings: Findings, classed: Classed) -> list[str]:
    """What stands under the table of one direction."""
    tried = ", ".join(f"{degree}: {figure(deviation)} N.m" for degree, deviation in findings.deviations_nm)
    zero = "" if findings.zero_return_nm is None else f"; zero left after a series: {figure(findings.zero_return_nm)} N.m"
    return [
        f"{function_text(findings)}, x the indication in N.m counted from rest, both as magnitudes",
        f"scatter about it {figure(findings.fit.deviation)} N.m, {findings.fit.degrees_of_freedom} degrees of freedom{zero}",
        f"scatter by degree of the polynomial, {tried}",
        class_text(classed),
    ]


def _cells(step: Step) -> tuple[str, ...]:
    found = (step.torque_nm, step.indication_nm, step.residual_nm, step.u_nm)
    spreads = (step.reversibility_nm, step.repeatability_nm, step.reproducibility_nm)
    return tuple(f"{round(value, 3) + 0.0:.3f}" for value in found) + tuple(
        "-" if value is None else f"{value:.3f}" for value in spreads
    )


def sheet_lines(certificate: Certificate) -> Iterator[str]:
    """The certificate as rows to print."""
    for name, value in facts(certificate):
        yield f"{name:<14}{value}"
    for name, (findings, classed) in classed_by_direction(certificate).items():
        yield ""
        yield f"{WAY[name]}, N.m"
        yield "".join(f"{column:>17}" if i > 3 else f"{column:>11}" for i, column in enumerate(_COLUMNS))
        for step in findings.steps:
            yield "".join(f"{cell:>17}" if i > 3 else f"{cell:>11}" for i, cell in enumerate(_cells(step)))
        yield from (f"  {line}" for line in remarks(findings, classed))


_TABLE = "<table border='1' style='border-collapse: collapse; border-color: #999999' cellpadding='5' width='100%'>"


def sheet_html(certificate: Certificate) -> str:
    """One page of HTML, of the kind a text document of Qt lays out."""
    named = (f"<tr><td><b>{html.escape(name)}</b></td><td>{html.escape(value)}</td></tr>" for name, value in facts(certificate))
    parts = ["<h2>Calibration of a torque sensor</h2><table cellpadding='4'>", *named, "</table>"]
    for name, (findings, classed) in classed_by_direction(certificate).items():
        heads = "".join(f"<th align='right'>{column}</th>" for column in _COLUMNS)
        rows = ("".join(f"<td align='right'>{cell}</td>" for cell in _cells(step)) for step in findings.steps)
        lines = "<br>".join(html.escape(line) for line in remarks(findings, classed))
        parts += [
            f"<h3>{WAY[name]}</h3>",
            _TABLE,
            f"<tr>{heads}</tr>",
            *(f"<tr>{row}</tr>" for row in rows),
            f"</table><p>{lines}</p>",
        ]
    parts.append("<p>All in N.m; u: standard uncertainty of a later reading at that torque; spreads are the largest found.</p>")
    parts.append(f"<p>{html.escape(STANDING)}</p><p><br>Date and signature: ______________________________</p>")
    return "<html><body>" + "".join(parts) + "</body></html>"
