"""A sentence with figures that remembers how it was made, so that it can be said in another language."""

from __future__ import annotations

from typing import Any, Self


class Told(str):
    """The English sentence; `template` is the same with places to fill, `parts` what fills them.

    >>> sentence = Told("{part}: {mm:.2f} mm is no shim", part="left", mm=25.4)
    >>> sentence, sentence.template
    ('left: 25.40 mm is no shim', '{part}: {mm:.2f} mm is no shim')
    """

    __slots__ = ("parts", "template")
    template: str
    parts: dict[str, Any]

    def __new__(cls, template: str, /, **parts: Any) -> Self:
        """Fill the places of a template."""
        made = super().__new__(cls, template.format(**parts))
        made.template, made.parts = template, parts
        return made

    def __deepcopy__(self, memo: dict[int, Any]) -> Self:
        """Nothing of it changes."""
        return self

    def __reduce__(self) -> tuple[type[str], tuple[str]]:
        """For other processes: the sentence alone."""
        return str, (str(self),)
