"""How many of what, in the user's language: '1 job', '3 jobs'."""

from __future__ import annotations

from rig.words.language import say_n


def jobs(n: int) -> str:
    """So many jobs."""
    return say_n("{n} job", "{n} jobs", n)


def entries(n: int) -> str:
    """So many entries."""
    return say_n("{n} entry", "{n} entries", n)


def files(n: int) -> str:
    """So many files."""
    return say_n("{n} file", "{n} files", n)


def pulls(n: int) -> str:
    """So many pulls."""
    return say_n("{n} pull", "{n} pulls", n)


def samples(n: int) -> str:
    """So many samples."""
    return say_n("{n} sample", "{n} samples", n)


def degrees_of_freedom(n: int) -> str:
    """So many degrees of freedom."""
    return say_n("{n} degree of freedom", "{n} degrees of freedom", n)
