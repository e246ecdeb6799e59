"""The window's program: makes the objects, joins them, runs Qt until the window is closed. Only this and `gui` import Qt."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from PySide6.QtWidgets import QApplication

from analysis.results import DecisionRule
from analysis.window import Window
from drivers.profile import DeviceProfile
from rig.benches import Benches
from rig.benchmodel import BenchModel, UnitChoice
from rig.gui.main_window import Hands, MainWindow
from rig.language import LANGUAGES, speak
from rig.remembered import recall, remember, remembered_path


def run_window(
    benches: Benches,
    *,
    profile: DeviceProfile | None = None,
    recording: Path | None = None,
    window: Window | None = None,
    rule: DecisionRule = DecisionRule.GUARDED,
    unit: str | None = None,
    asked_to_end: Callable[[], bool] = lambda: False,
) -> int:
    """Show the bench window on a line, on a recording, or on nothing yet; returns the exit status when it is closed.

    `unit` None: the unit used last. `asked_to_end` tells of Ctrl-C and the like: the window then closes as if by hand.
    """
    path = remembered_path()
    remembered = recall(path)
    if unit is not None:
        remembered = replace(remembered, unit=unit, second_unit=None)
    speak(remembered.language if remembered.language in LANGUAGES else "en")
    app = QApplication.instance() or QApplication(sys.argv[:1])
    app.setApplicationName("platepull")
    model = BenchModel(window=window, rule=rule, unit=UnitChoice(remembered.unit, remembered.second_unit))
    hands = Hands(benches=benches, remember=lambda what: remember(path, what), asked_to_end=asked_to_end)
    main = MainWindow(model, remembered, hands)
    main.resize(1280, 800)
    if profile is not None:
        main.open_line(profile)
    elif recording is not None:
        main.open_recording(recording)
    main.show()
    return app.exec()
