"""A table of a TOML file, read key by key, with refusals that name file, section, key and what is expected there."""

from __future__ import annotations

import difflib
import math
from typing import Any

from analysis.errors import BenchError, UnitError
from analysis.units import Quantity, to_si

_REQUIRED = object()


class Table:
    """One table of a TOML file, read key by key; what nobody asked for is refused at the end. `error` is the kind of refusal."""

    def __init__(self, where: str, section: str, content: dict[str, Any], error: type[BenchError] = BenchError) -> None:
        self._error = error
        self.file = where
        self.where = f"{where}, [{section}]"
        self._content = content
        self._asked: list[str] = []

    def refuse(self, key: str, what: str, expected: str) -> BenchError:
        """The error for a key; the caller raises it."""
        return self._error(f"key '{key}' {what}", where=self.where, remedy=f"expected {expected}")

    def take(self, key: str, kind: type | tuple[type, ...], expected: str, default: Any = _REQUIRED) -> Any:
        """The value of `key`, of type `kind`; the default if it is absent."""
        self._asked.append(key)
        if key not in self._content:
            if default is _REQUIRED:
                near = difflib.get_close_matches(key, self._content, 1)
                raise self.refuse(key, "is missing" + (f" (is '{near[0]}' meant for it?)" if near else ""), expected)
            return default
        value = self._content[key]
        if not isinstance(value, kind) or isinstance(value, bool) is not (kind is bool):
            raise self.refuse(key, f"is {value!r}", expected)
        return value

    def word(self, key: str, expected: str, default: Any = _REQUIRED) -> Any:
        """A text that is not blank."""
        value = self.take(key, str, expected, default)
        if value is not default and not value.strip():
            raise self.refuse(key, "is empty", expected)
        return value

    def choice(self, key: str, choices: tuple[str, ...], default: Any = _REQUIRED) -> Any:
        """One of some words."""
        expected = "one of " + ", ".join(f'"{each}"' for each in choices)
        value = self.take(key, str, expected, default)
        if value not in choices:
            near = difflib.get_close_matches(value, choices, 1)
            raise self.refuse(key, f"is {value!r}" + (f", did you mean '{near[0]}'?" if near else ""), expected)
        return value

    def whole(self, key: str, low: int, high: int, default: Any = _REQUIRED) -> Any:
        """A whole number within limits."""
        expected = f"a whole number from {low} to {high}"
        value = self.take(key, int, expected, default)
        if value is not default and not low <= value <= high:
            raise self.refuse(key, f"is {value}", expected)
        return value

    def number(self, key: str, expected: str, default: Any = _REQUIRED) -> Any:
        """A finite number without a unit."""
        value = self.take(key, (int, float), expected, default)
        if value is not default and not math.isfinite(value):
            raise self.refuse(key, f"is {value}", expected)
        return value

    def quantity(self, key: str, quantity: Quantity, example: str, default: Any = _REQUIRED, *, or_zero: bool = False) -> Any:
        """A positive number with a unit, in SI; zero only where it may be."""
        expected = f'a number with a unit in quotes, such as "{example}"'
        text = self.take(key, str, expected, default)
        if text is default:
            return default
        try:
            value = to_si(text, quantity)
        except UnitError as fault:
            raise self.refuse(key, f"is {text!r}: {fault.what}", expected) from None
        if value < 0 or (value == 0 and not or_zero):
            raise self.refuse(key, f"is {text!r}, which is {'below' if or_zero else 'not above'} zero", expected)
        return value

    def done(self) -> None:
        """Refuse keys that were never asked for."""
        for key in self._content:
            if key not in self._asked:
                near = difflib.get_close_matches(key, self._asked, 1)
                hint = f", did you mean '{near[0]}'?" if near else ""
                raise self.refuse(key, f"is not known{hint}", "one of " + ", ".join(self._asked))
