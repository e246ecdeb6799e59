"""What a printed page is made of: frozen values that `printing` sets. Every word stands in them; the template only lays out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, ClassVar, Literal

Tone = Literal["good", "bad", "open", "plain"]
"""How a statement stands; shown by shape and word too, so that a page in grey says the same."""
Align = Literal["left", "right", "center"]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading within the page; level 1 of the annex, level 2 of a part. `under` is a line that stays with it."""

    kind: ClassVar = "heading"
    text: str
    level: int = 2
    under: str | None = None


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph; `small` for what is read only when asked for."""

    kind: ClassVar = "text"
    text: str
    small: bool = False


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list; `small` as in `Text`."""

    kind: ClassVar = "bullets"
    items: tuple[str, ...]
    small: bool = False


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and values, in `columns` pairs side by side."""

    kind: ClassVar = "facts"
    rows: tuple[tuple[str, str], ...]
    columns: int = 2


@dataclass(frozen=True, slots=True)
class Statement:
    """The one thing to be read first: a word, and the sentence behind it."""

    kind: ClassVar = "statement"
    tone: Tone
    word: str
    text: str


@dataclass(frozen=True, slots=True)
class Table:
    """A table with a head; `align` is a letter a column: l, r or c.

    `marked` rows are struck through: they do not count, and are still told.
    """

    kind: ClassVar = "table"
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    align: str
    marked: tuple[int, ...] = ()
    small: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """A line through points in mm; `dash` and `ink` by name. Closed and filled where `fill` is named."""

    kind: ClassVar = "line"
    points: tuple[tuple[float, float], ...]
    width_pt: float = 0.8
    ink: str = "ink"
    dash: str | None = None
    fill: str | None = None


@dataclass(frozen=True, slots=True)
class Label:
    """A short text in a drawing; x, y in mm is its anchor."""

    kind: ClassVar = "label"
    text: str
    x: float
    y: float
    align: Align = "center"
    size_pt: float = 7.5
    bold: bool = False
    turned: bool = False


@dataclass(frozen=True, slots=True)
class Drawing:
    """Lines and labels on a field in mm, y downwards; `alt` says the same to who cannot see it."""

    kind: ClassVar = "drawing"
    width_mm: float
    height_mm: float
    alt: str
    shapes: tuple[Line | Label, ...]
    caption: str | None = None


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as JPEG with what stands beneath it, which says the same to who cannot see it."""

    kind: ClassVar = "photo"
    jpeg: bytes
    caption: str


@dataclass(frozen=True, slots=True)
class Photos:
    """Photos, two side by side."""

    kind: ClassVar = "photos"
    photos: tuple[Photo, ...]


@dataclass(frozen=True, slots=True)
class Columns:
    """Blocks side by side; widths in shares of the page."""

    kind: ClassVar = "columns"
    parts: tuple[tuple[Block, ...], ...]
    widths: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Signature:
    """Lines to be signed on."""

    kind: ClassVar = "signature"
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NewPage:
    """The next block begins a page."""

    kind: ClassVar = "newpage"


Block = Heading | Text | Bullets | Facts | Statement | Table | Drawing | Photos | Columns | Signature | NewPage


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A document: its head, its blocks, and what stands at the foot of every page. `template` names the file that lays it out."""

    title: str
    subtitle: str
    right: tuple[str, ...]
    blocks: tuple[Block, ...]
    foot: str
    page_of: str
    """Text of the page number with `{page}` and `{pages}`."""
    template: str = "sheet.typ"


def plain(value: object) -> Any:
    """Blocks as JSON values, each with its kind."""
    if is_dataclass(value) and not isinstance(value, type):
        own = {entry.name: plain(getattr(value, entry.name)) for entry in fields(value)}
        kind = getattr(value, "kind", None)
        return own if kind is None else {"kind": kind, **own}
    if isinstance(value, Sequence) and not isinstance(value, str | bytes):
        return [plain(each) for each in value]
    return value
