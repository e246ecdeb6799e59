"""A page set as PDF: PDF/A with tags, by typst and the fonts that come with it; the same bytes for the same page and day.

No font, package or file of the machine is used, and what a person typed is data, never markup.
"""

from __future__ import annotations

import functools
import json
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time
from importlib import resources
from pathlib import Path
from typing import Any

from rig.errors import SheetError
from rig.files.atomic import write_whole
from rig.sheets.blocks import Page, plain

STANDARDS = ["a-2a", "ua-1"]
"""PDF/A-2a (ISO 19005-2: to be read in decades, with tags) and PDF/UA-1 (ISO 14289-1: to be read aloud)."""
PICTURES = ("png", "svg")
UNPRINTABLE = "?"
"""Stands for a character that the fonts do not have."""


def set_pdf(page: Page, *, language: str, day: date) -> bytes:
    """The page as PDF.

    Parameters
    ----------
    language : code of the language of its words
    day : the day it is printed; it stands in the file, and nothing else of the moment does

    Raises
    ------
    SheetError
        Where the page cannot be set; a fault of ours.
    """
    return _compile(page, language, day, "pdf")[0]


def set_pictures(page: Page, *, language: str, day: date, dots_per_inch: float = 110.0) -> list[bytes]:
    """The pages as PNG pictures, to look at. Raises SheetError."""
    return _compile(page, language, day, "png", ppi=dots_per_inch)


def write_pdf(path: Path, page: Page, *, language: str, day: date) -> None:
    """Write the page to a file, whole or not at all. Raises SheetError."""
    content = set_pdf(page, language=language, day=day)
    try:
        write_whole(path, content)
    except OSError as fault:
        remedy = "check folder, rights and space"
        raise SheetError(f"cannot be written ({fault.strerror})", where=str(path), remedy=remedy) from fault


def write_page(path: Path, page: Page, *, language: str, day: date, dots_per_inch: float = 200.0) -> None:
    """Write a page as PDF, PNG or SVG, by the ending of `path`; of the last two the first page. Raises SheetError."""
    form = path.suffix.lower().removeprefix(".")
    if form == "pdf":
        write_pdf(path, page, language=language, day=day)
        return
    if form not in PICTURES:
        raise SheetError(f"'{path.name}' is no page that can be written", remedy="end it in .pdf, .png or .svg")
    options = {"ppi": dots_per_inch} if form == "png" else {}
    content = _compile(page, language, day, form, **options)[0]
    try:
        write_whole(path, content)
    except OSError as fault:
        remedy = "check folder, rights and space"
        raise SheetError(f"cannot be written ({fault.strerror})", where=str(path), remedy=remedy) from fault


def _compile(page: Page, language: str, day: date, form: str, **options: Any) -> list[bytes]:
    content, photos = _photos_named(plain(page))
    content = _each_text(content, _printable) | {"language": language, "day": [day.year, day.month, day.day]}
    with _root(photos) as folder:
        try:
            return _typeset(folder, page.template, content, day, form, options)
        except _typst().TypstError as fault:
            if "could not be displayed" not in str(fault):
                raise _ours(fault) from fault
        # Only now, and seldom: which of the characters typed do the fonts have?
        try:
            return _typeset(folder, page.template, _each_text(content, _in_fonts), day, form, options)
        except _typst().TypstError as fault:
            raise _ours(fault) from fault


@contextmanager
def _root(photos: dict[str, bytes]) -> Iterator[Path]:
    """The folder that a page is set from: the templates, and beside them the photos where there are any."""
    with resources.as_file(resources.files("rig.sheets") / "templates") as templates:
        if not photos:
            yield templates
            return
        with tempfile.TemporaryDirectory(prefix="platepull-page-") as made:
            folder = Path(made)
            for template in templates.glob("*.typ"):
                shutil.copyfile(template, folder / template.name)
            for name, jpeg in photos.items():
                (folder / name).write_bytes(jpeg)
            yield folder


def _photos_named(content: Any) -> tuple[Any, dict[str, bytes]]:
    """A page's values with each photo named as a file, and the files."""
    photos: dict[str, bytes] = {}

    def named(value: Any) -> Any:
        if isinstance(value, bytes):
            photos[name := f"photo_{len(photos) + 1}.jpg"] = value
            return name
        if isinstance(value, dict):
            return {key: named(each) for key, each in value.items()}
        return [named(each) for each in value] if isinstance(value, list) else value

    return named(content), photos


def _ours(fault: Exception) -> SheetError:
    return SheetError(f"the page could not be set ({fault})", remedy="report this with the job")


def _each_text(content: Any, change: Callable[[str], str]) -> Any:
    """JSON values with every text changed."""
    if isinstance(content, str):
        return change(content)
    if isinstance(content, dict):
        return {key: _each_text(value, change) for key, value in content.items()}
    return [_each_text(value, change) for value in content] if isinstance(content, list) else content


def _typst() -> Any:
    try:
        import typst
    except ImportError as fault:
        raise SheetError("printed sheets need the library typst", remedy="install it: pip install typst") from fault
    return typst


def _typeset(folder: Path, template: str, content: Any, day: date, form: str, options: dict[str, Any]) -> list[bytes]:
    standards = {"pdf_standards": STANDARDS} if form == "pdf" else {}
    result = _typst().compile(
        str(folder / template),
        root=str(folder),
        font_paths=_fonts(),
        format=form,
        sys_inputs={"data": json.dumps(content, ensure_ascii=False)},
        timestamp=datetime.combine(day, time(), UTC),
        **standards,
        **options,
    )
    return result if isinstance(result, list) else [result]


@functools.lru_cache(maxsize=1)
def _fonts() -> Any:
    return _typst().Fonts(include_system_fonts=False, include_embedded_fonts=True)


def _printable(text: str) -> str:
    """Without control characters and marks that turn the writing direction: no font shows them."""
    return "".join(char if char.isprintable() else " " for char in text)


def _in_fonts(text: str) -> str:
    return "".join(char if char.isascii() or _has(char) else UNPRINTABLE for char in text)


@functools.lru_cache(maxsize=4096)
def _has(char: str) -> bool:
    """Whether a page with this character can be set: tried, for the fonts do not tell."""
    source = f'#set document(title: "c", date: datetime(year: 2026, month: 1, day: 1))\n#set text(font: "Libertinus Serif")\n{char}'
    try:
        _typst().compile(source.encode(), font_paths=_fonts(), format="pdf", pdf_standards=["a-2b"])
    except _typst().TypstError:
        return False
    return True
