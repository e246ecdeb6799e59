"""The reading of a pull as it stands in an entry, and back: so that a series is judged without reading the recordings again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import msgspec

from analysis.results import PullResult


def reading_document(result: PullResult) -> dict[str, Any]:
    """A pull's reading as JSON values; the stretches and the moments of the slips stay with the recording."""
    brief = replace(result, stretches=(), chatter=replace(result.chatter, slip_times_s=()))
    document: dict[str, Any] = msgspec.to_builtins(brief)
    del document["stretches"], document["chatter"]["slip_times_s"]
    document["chatter"]["present"] = result.chatter.present
    return document


def result_of(document: Mapping[str, Any]) -> PullResult:
    """The reading that `reading_document` wrote, by any version of the program. Raises ValueError."""
    try:
        return msgspec.convert({"stretches": [], **document}, PullResult)
    except msgspec.ValidationError as fault:
        raise ValueError(f"the reading in the entry cannot be used ({fault})") from fault
