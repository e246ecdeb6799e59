"""How pulls are judged: what was asked for, else what a pull says of itself, else the settings; one value for all verbs."""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from rig.errors import RefusedError

if TYPE_CHECKING:  # these pull in numpy and scipy, which `platepull --help` can do without
    from analysis.judgement import DecisionRule
    from analysis.pack.parts import SpecCard
    from analysis.verdict.apart import Scatter
    from analysis.verdict.judge import Known
    from analysis.verdict.votes import Convert
    from analysis.window import Window
    from rig.settings import Settings


@dataclass(frozen=True, slots=True)
class Judging:
    """What verdicts are made by.

    asked      the window of `--window`
    card       the spec card of `--spec`
    fallback   the window of the settings
    basis      of `--basis`; None: as the window has it
    """

    asked: Window | None
    card: SpecCard | None
    fallback: Window | None
    basis: str | None
    rule: DecisionRule
    scatter: Scatter

    @classmethod
    def of(cls, args: argparse.Namespace, settings: Settings) -> Judging:
        """From options and settings. Raises WindowError, UnitError, ArgumentError, DocumentError or RefusedError."""
        from rig.commands._options import rule_of, scatter_of, window_of

        return cls(
            asked=window_of(args.window, args.basis),
            card=None if args.spec is None else _card(Path(args.spec)),
            fallback=window_of(settings.window, args.basis or settings.basis),
            basis=args.basis,
            rule=rule_of(args.rule or settings.rule),
            scatter=scatter_of(args.scatter or settings.scatter),
        )

    @property
    def convert(self) -> Convert:
        """How pulls in another arrangement are converted; without a spec card nobody knows the layout, and none is."""
        from analysis.pack.arrangement import Conversions
        from analysis.verdict.votes import not_converted

        card = self.card
        return not_converted if card is None else Conversions(card.layout, card.ramps_deg, card.ratio)

    @property
    def known(self) -> Known:
        """What is known before anybody pulls."""
        from analysis.verdict.judge import Known

        return Known(self.scatter, self.convert)

    def window(self, own: Window | None = None, plate_state: str | None = None) -> Window | None:
        """What a pull is held against: `--window`, the spec card's window for these plates, the pull's `own`, the settings'."""
        from analysis.window import Basis

        if self.asked is not None:
            return self.asked
        if self.card is not None:
            return _of_card(self.card, self.basis, plate_state)
        if own is not None:
            return replace(own, basis=Basis(self.basis or own.basis))
        return self.fallback


def _of_card(card: SpecCard, basis: str | None, plate_state: str | None) -> Window:
    from analysis.pack.answer import window_for
    from analysis.pack.parts import PlateState
    from analysis.window import Basis

    mine = tuple(one for one in card.windows if basis is None or one.window.basis is Basis(basis))
    plain = (plate_state or "").strip().lower().replace(" ", "_")
    state = PlateState(plain) if plain in list(PlateState) else None
    window = window_for(replace(card, windows=mine or card.windows), state)[0].window
    return replace(window, basis=Basis(basis or window.basis))


def _card(path: Path) -> SpecCard:
    """Read a spec card that can be believed. Raises FileError, DocumentError or RefusedError."""
    from analysis.pack.plausible import window_misprints
    from rig.pack.spec_card import read_spec_card

    card = read_spec_card(path).value.spec_card()
    for problem in window_misprints(card):
        raise RefusedError(problem.text, where=f"{path}, {problem.where}", remedy="correct the card by the maker's page")
    return card
