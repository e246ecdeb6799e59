"""The user's choices: one TOML in the config folder. Every key is also an option of the verbs that use it; an option wins.

window = "35..60 N.m"      # what pulls are judged against
basis = "breakaway"        # or "sliding"
rule = "guarded"           # or "simple"
unit = "N.m"               # the unit shown: any torque unit
u = "0.5 %"                # uncertainty of the torque sensor, in one of the forms of --u
scatter = "4 % (12)"       # scatter from pull to pull that is known of the bench, with its degrees of freedom
device = "bench.toml"      # the profile that `live` and `record` use; a plain name lies in the config folder
out = "C:/pulls"           # where recordings go
who = "T.W."               # initials of who pulls
book = "C:/jobs/book.sqlite"     # the job book: a file, or postgresql://USER@HOST/NAME
workshop = "NAME, PLACE"   # what stands on printed sheets
language = "en"            # of the terminal and of printed sheets: en or de
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal, Self

from analysis.stated import FORMS, parse_scatter, parse_uncertainty
from analysis.units import scale_to_si
from analysis.window import Window
from rig.files.document import read_document
from rig.files.fields import Closed, Name
from rig.folders import users_config, users_data


class WindowText(Name):
    """A window, kept as it was typed."""

    EXPECTED = 'a window such as "35..60 N.m"'

    @classmethod
    def parse(cls, text: str) -> Self:
        """See that it is one. Raises WindowError or UnitError."""
        Window.parse(text)
        return super().parse(text)


class UnitText(Name):
    """A unit of torque."""

    EXPECTED = 'a unit of torque such as "N.m" or "lbf.ft"'

    @classmethod
    def parse(cls, text: str) -> Self:
        """See that it is one. Raises UnitError."""
        scale_to_si(text, "torque")
        return super().parse(text)


class UncertaintyText(Name):
    """The uncertainty of the torque sensor, kept as it was typed."""

    EXPECTED = f"an uncertainty such as {FORMS}"

    @classmethod
    def parse(cls, text: str) -> Self:
        """See that it is one. Raises StatedError."""
        parse_uncertainty(text)
        return super().parse(text)


class ScatterText(Name):
    """The scatter between pulls, kept as it was typed."""

    EXPECTED = 'a scatter such as "4 %" or "4 % (12)"'

    @classmethod
    def parse(cls, text: str) -> Self:
        """See that it is one. Raises StatedError."""
        parse_scatter(text)
        return super().parse(text)


class Settings(Closed, frozen=True, kw_only=True):
    """The user's choices; None: not chosen."""

    window: WindowText | None = None
    basis: Literal["breakaway", "sliding"] | None = None
    rule: Literal["guarded", "simple"] | None = None
    unit: UnitText | None = None
    u: UncertaintyText | None = None
    scatter: ScatterText | None = None
    device: Name | None = None
    out: Name | None = None
    who: Name | None = None
    book: Name | None = None
    workshop: Name | None = None
    language: Literal["en", "de"] | None = None


def book_path() -> Path:
    """The job book of the user at this machine, where neither option nor settings name another."""
    return users_data() / "book.sqlite"


def settings_path() -> Path:
    """The settings file of the user at this machine."""
    return users_config() / "settings.toml"


def load_settings(path: Path | None = None) -> Settings:
    """Read the settings; no file is no choice. Raises FileError or DocumentError."""
    target = settings_path() if path is None else path
    return read_document(target, Settings, "settings file").value if target.exists() else Settings()


def profile_path(text: str) -> Path:
    """The profile of that name: as given, else, where that is a plain name, in the user's config folder."""
    given = Path(text)
    kept = settings_path().parent / text
    return kept if text == given.name and not given.exists() and kept.exists() else given
