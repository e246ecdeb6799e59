"""The window that a spec card gives for the pulls of a unit: one place for command line and window."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from analysis.pack.answer import window_for
from analysis.pack.parts import PlateState, SpecCard
from analysis.pack.plausible import window_misprints
from analysis.window import Basis, Window
from rig.errors import RefusedError
from rig.pack.spec_card import read_spec_card


def window_of_card(card: SpecCard, basis: str | None, plate_state: str | None) -> Window:
    """The card's window for these plates and, where it is asked for, this basis."""
    mine = tuple(one for one in card.windows if basis is None or one.window.basis is Basis(basis))
    plain = (plate_state or "").strip().lower().replace(" ", "_")
    state = PlateState(plain) if plain in list(PlateState) else None
    window = window_for(replace(card, windows=mine or card.windows), state)[0].window
    return replace(window, basis=Basis(basis or window.basis))


def believed_card(path: Path) -> SpecCard:
    """Read a spec card that can be believed. Raises FileError, DocumentError or RefusedError."""
    card = read_spec_card(path).value.spec_card()
    for problem in window_misprints(card):
        raise RefusedError(problem.text, where=f"{path}, {problem.where}", remedy="correct the card by the maker's page")
    return card
