"""A window's structure as plain values: which widgets stand where and what they say, with every number as '#'.

Compared with stored references instead of pixels: fonts and anti-aliasing differ from machine to machine, structure does not.
Set PLATEPULL_WRITE_REFERENCES=1 to write the references anew; look at the difference before keeping it.
"""

import json
import os
import re
from pathlib import Path

from PySide6.QtCore import QPoint
from PySide6.QtWidgets import QAbstractButton, QComboBox, QLabel, QLineEdit, QTableWidget, QWidget

REFERENCES = Path(__file__).parents[1] / "rig" / "window" / "structure"
GRID = 24
"""Places are told in parts of the window, so that a font a little wider or narrower changes nothing."""
ROOM = 2


def structure(window: QWidget) -> list:
    """Rows of [depth, class, name, words, left, top, width, height] of all visible widgets, in order of the tree.

    The rail's buttons are left out: they are the same on every page, and a test of their own looks at them.
    """
    rows = []

    def visit(widget: QWidget, depth: int) -> None:
        if not widget.isVisible() or widget.objectName().startswith("qt_") or type(widget).__name__ == "QComboBoxPrivateContainer":
            return
        at = widget.mapTo(window, QPoint(0, 0))
        box = [round(GRID * at.x() / window.width()), round(GRID * at.y() / window.height())]
        box += [round(GRID * widget.width() / window.width()), round(GRID * widget.height() / window.height())]
        if widget.objectName() == "rail":
            return
        rows.append([depth, type(widget).__name__, widget.objectName(), words(widget), *box])
        for child in widget.children():
            if isinstance(child, QWidget):
                visit(child, depth + 1)

    visit(window, 0)
    return rows


def words(widget: QWidget) -> str:
    """What it says, or what a screen reader says of it."""
    if isinstance(widget, QLabel | QAbstractButton) and widget.text():
        text = widget.text()
    elif isinstance(widget, QLineEdit):
        text = f"{widget.text()} | {widget.placeholderText()}"
    elif isinstance(widget, QComboBox):
        text = widget.currentText()
    elif isinstance(widget, QTableWidget):
        items = [widget.horizontalHeaderItem(column) for column in range(widget.columnCount())]
        text = " | ".join(item.text() for item in items if item is not None)
    else:
        text = widget.accessibleName()
    return re.sub(r"\d+([.,]\d+)?", "#", text)


def compare(window: QWidget, name: str) -> None:
    """Hold the window against its reference."""
    rows, path = structure(window), REFERENCES / f"{name}.json"
    if os.environ.get("PLATEPULL_WRITE_REFERENCES"):
        path.parent.mkdir(exist_ok=True)
        path.write_text("[\n" + ",\n".join(json.dumps(row, ensure_ascii=False) for row in rows) + "\n]\n", "utf-8")
    expected = json.loads(path.read_text("utf-8"))
    assert [row[:4] for row in rows] == [row[:4] for row in expected]
    moved = [
        (now[1:4], now[4:], then[4:])
        for now, then in zip(rows, expected, strict=True)
        if max(abs(a - b) for a, b in zip(now[4:], then[4:], strict=True)) > ROOM
    ]
    assert not moved, moved
