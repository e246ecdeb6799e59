"""Looks: unit, theme, sound, language, page and place of the window, turned by the person and remembered. No Qt."""

from __future__ import annotations

from dataclasses import replace

from rig.window.model import BenchModel
from rig.window.preferences import Preferences
from rig.words.language import LANGUAGES, spoken
from rig.words.units import UNIT_CHOICES, UnitChoice, same_unit


class Looks:
    """What is chosen stands in the preferences; the unit counts in the model too."""

    def __init__(self, model: BenchModel, preferences: Preferences) -> None:
        self._model, self._preferences = model, preferences

    def turn_sound(self) -> None:
        """Sound on or off."""
        self._preferences.keep(replace(self._preferences.now, sound=not self._preferences.now.sound))

    def turn_unit(self) -> None:
        """The next unit: N.m, lbf.ft, both; and that of the window where it is another one."""
        model = self._model
        choices = list(UNIT_CHOICES)
        if model.window is not None and not any(same_unit(choice.first, model.window.unit) for choice in choices):
            choices.append(UnitChoice(model.window.unit))
        at = choices.index(model.unit) if model.unit in choices else -1
        model.unit = choices[(at + 1) % len(choices)]
        self._preferences.keep(replace(self._preferences.now, unit=model.unit.first, second_unit=model.unit.second))

    def turn_theme(self) -> None:
        """Dark or light."""
        theme = "light" if self._preferences.now.theme == "dark" else "dark"
        self._preferences.keep(replace(self._preferences.now, theme=theme))

    def speak(self, code: str) -> None:
        """The language from now on."""
        self._preferences.keep(replace(self._preferences.now, language=code))

    def next_language(self) -> str:
        """Code of the language after the one spoken."""
        codes = list(LANGUAGES)
        return codes[(codes.index(spoken()) + 1) % len(codes)]

    def note_page(self, name: str) -> None:
        """The page that was in sight last."""
        self._preferences.keep(replace(self._preferences.now, page=name))

    def note_place(self, place: tuple[int, int, int, int], *, maximised: bool) -> None:
        """Where the window stood: left, top, width, height in pixels."""
        self._preferences.keep(replace(self._preferences.now, place=place, maximised=maximised))
