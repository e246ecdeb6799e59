"""The guide: pages of Markdown in English and German, which the window shows (F1), `platepull guide` prints and the README links.

A page is `LANGUAGE/NAME.md`, its first line the title; pages link each other as `NAME.md` and pictures as `../pictures/FILE`, so
that they read the same in a browser of the repository.
"""

from __future__ import annotations

from importlib import resources
from importlib.resources.abc import Traversable

from analysis.errors import quoted
from rig.errors import GuideError

PAGES = ("bench", "first_pull", "verdict", "series", "gallery", "sensor", "pack", "job", "questions", "windows", "files", "json")
"""Names of the pages, in the order in which a newcomer reads them."""
LANGUAGES = ("en", "de")


def page(name: str, language: str = "en") -> str:
    """The text of a page in Markdown.

    Raises GuideError where there is no such page or language.
    """
    if name not in PAGES:
        raise GuideError(f"there is no page {quoted(name)} in the guide", remedy=f"use one of {', '.join(PAGES)}")
    if language not in LANGUAGES:
        raise GuideError(f"the guide does not speak {quoted(language)}", remedy=f"use one of {', '.join(LANGUAGES)}")
    return _packed(f"{language}/{name}.md").read_text(encoding="utf-8")


def title(name: str, language: str = "en") -> str:
    """The title of a page: its first line."""
    return page(name, language).partition("\n")[0].lstrip("# ")


def picture(name: str) -> bytes:
    """The bytes of a picture that a page shows. Raises GuideError where there is none of that name."""
    known = {each.name for each in _packed("pictures").iterdir()}
    if name not in known:
        raise GuideError(f"there is no picture {quoted(name)} in the guide", remedy="install platepull again")
    return _packed(f"pictures/{name}").read_bytes()


def _packed(path: str) -> Traversable:
    return resources.files("rig.guide").joinpath(path)
