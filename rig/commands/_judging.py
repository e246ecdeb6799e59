"""How pulls are judged: what was asked for, else what a pull says of itself, else the settings; one value for all verbs."""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from rig.words.language import say

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

        card = None
        if args.spec is not None:
            from rig.pack.card_window import believed_card

            card = believed_card(Path(args.spec))
            if args.window is not None:
                print(say("the window of --window replaces that of the spec card ({card})", card=args.spec), file=sys.stderr)
        return cls(
            asked=window_of(args.window, args.basis),
            card=card,
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
            from rig.pack.card_window import window_of_card

            return window_of_card(self.card, self.basis, plate_state)
        if own is not None:
            return replace(own, basis=Basis(self.basis or own.basis))
        return self.fallback
