"""A problem of a sheet: what is not believed, or believed with a word."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """An entry that is not believed (`stop`), or believed with a word (`warn`)."""

    code: str
    severity: str
    where: str
    text: str


def stop(code: str, where: str, text: str) -> Problem:
    """A problem that stops the sheet.

    Parameters
    ----------
    code
        Short name of what is wrong, as documents carry it.
    where
        The entry it is about, as the sheet names it.
    text
        A sentence for the reader.

    Returns
    -------
    Problem
        Of severity `stop`.
    """
    return Problem(code, "stop", where, text)


def once(found: list[Problem]) -> list[Problem]:
    """Each code at a place once."""
    kept: dict[tuple[str, str], Problem] = {}
    for one in found:
        kept.setdefault((one.code, one.where), one)
    return list(kept.values())
