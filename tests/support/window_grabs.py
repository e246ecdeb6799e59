"""Pictures of every page of the window, both themes, any sizes and languages, to be looked at.

    python tests/support/window_grabs.py FOLDER [--sizes 1024x600 1280x800] [--themes dark] [--languages en de] [--pack FOLDER]

Each lies in FOLDER as LANGUAGE_THEME_SIZE_SCENE.png; of each language, theme and size there is a contact sheet beside them.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parents[2])]
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import Qt  # noqa: E402
from PySide6.QtGui import QImage, QPainter  # noqa: E402
from PySide6.QtWidgets import QApplication  # noqa: E402
from support.shop import Shop  # noqa: E402
from support.window_scenes import scenes  # noqa: E402

from rig.window.memory import Remembered  # noqa: E402
from rig.words.language import speak  # noqa: E402

ACROSS, THUMB_WIDTH = 4, 640


class _Nobody:
    """Stands where a test has its window collected."""

    def addWidget(self, widget: object) -> None:  # noqa: N802
        """Nothing to do."""


def contact_sheet(pictures: list[QImage]) -> QImage:
    """All of them small, side by side."""
    small = [each.scaledToWidth(THUMB_WIDTH, Qt.TransformationMode.SmoothTransformation) for each in pictures]
    high = max(each.height() for each in small)
    rows = (len(small) + ACROSS - 1) // ACROSS
    sheet = QImage(ACROSS * THUMB_WIDTH, rows * high, QImage.Format.Format_RGB32)
    sheet.fill(Qt.GlobalColor.magenta)
    painter = QPainter(sheet)
    for at, each in enumerate(small):
        painter.drawImage(at % ACROSS * THUMB_WIDTH, at // ACROSS * high, each)
    painter.end()
    return sheet


def main() -> None:
    """Grab them all."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sizes", nargs="*", default=["1024x600", "1280x800", "3840x2160"])
    parser.add_argument("--themes", nargs="*", default=["dark", "light"])
    parser.add_argument("--pack", type=Path, help="a folder with PACK.toml and what it names")
    parser.add_argument("--languages", nargs="*", default=["en", "de"])
    args = parser.parse_args()
    args.folder.mkdir(parents=True, exist_ok=True)
    app = QApplication([])
    for language in args.languages:
        for theme in args.themes:
            for size in args.sizes:
                with tempfile.TemporaryDirectory() as home:
                    os.environ.update(XDG_DATA_HOME=home, XDG_CONFIG_HOME=home, XDG_STATE_HOME=home)
                    speak(language)
                    shop = Shop(_Nobody(), Path(home), cautions=True, remembered=Remembered(theme=theme))
                    shop.window.resize(*map(int, size.split("x")))
                    app.processEvents()
                    grabbed = []
                    for name in scenes(shop, app.processEvents, args.pack):
                        picture = shop.window.grab().toImage().convertToFormat(QImage.Format.Format_RGB888)
                        picture.save(str(args.folder / f"{language}_{theme}_{size}_{name}.png"))
                        grabbed.append(picture)
                    contact_sheet(grabbed).save(str(args.folder / f"sheet_{language}_{theme}_{size}.png"))
                    shop.window.close()


if __name__ == "__main__":
    main()
