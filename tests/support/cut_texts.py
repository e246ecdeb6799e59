"""Texts of a window that do not fit where they stand: the room they need by their font against the room they have."""

from __future__ import annotations

from PySide6.QtCore import QPoint, QRect
from PySide6.QtWidgets import (
    QAbstractButton,
    QComboBox,
    QLabel,
    QLineEdit,
    QScrollArea,
    QStyle,
    QWidget,
)

from rig.window.qt.arrangements import ArrangementButton
from rig.window.qt.elided import ElidedLabel

NEAR_PX = 2
"""A text may be wider than its box by so much before a letter is lost: boxes are rounded."""


def cut_texts(window: QWidget, page: QWidget) -> list[str]:
    """Each visible text of the page, and of the window around it, that is cut, with what it needs and has."""
    shown = [widget for widget in window.findChildren(QWidget) if widget.isVisible()]
    return [f"{page.objectName()}: {lacks}" for widget in shown if (lacks := lacking(widget, window))]


def lacking(widget: QWidget, window: QWidget) -> str:
    """What of the widget's own text is cut; "" where all of it is seen, or where it is made to leave something out."""
    if isinstance(widget, ElidedLabel | ArrangementButton):
        return ""
    if isinstance(widget, QLabel) and widget.text() and widget.pixmap().isNull():
        return _label(widget) or _outside(widget, window, widget.text())
    if isinstance(widget, QAbstractButton) and widget.text():
        return _button(widget) or _outside(widget, window, widget.text())
    if isinstance(widget, QComboBox):
        inner = widget.style().pixelMetric(QStyle.PixelMetric.PM_ScrollBarExtent, None, widget)
        text = widget.currentText() or widget.placeholderText()
        return _narrow(text, widget.fontMetrics().horizontalAdvance(text), widget.width() - inner)
    if isinstance(widget, QLineEdit) and not isinstance(widget.parent(), QComboBox):
        text = widget.text() or widget.placeholderText()
        return _narrow(text, widget.fontMetrics().horizontalAdvance(text), widget.contentsRect().width() - 4)
    return ""


def _label(label: QLabel) -> str:
    box = label.contentsRect()
    if label.wordWrap():
        needs = label.heightForWidth(label.width())
        return f"'{label.text()}' needs {needs} high, has {label.height()}" if needs > label.height() + NEAR_PX else ""
    return _narrow(label.text(), label.sizeHint().width(), label.width()) if box.isValid() else ""


def _button(button: QAbstractButton) -> str:
    lines = button.text().split("\n")
    wide = max(button.fontMetrics().horizontalAdvance(line.replace("&", "")) for line in lines)
    return _narrow(button.text(), wide, button.contentsRect().width())


def _narrow(text: str, needs: int, has: int) -> str:
    return f"{text!r} needs {needs} wide, has {has}" if text and needs > has + NEAR_PX else ""


def _outside(widget: QWidget, window: QWidget, text: str) -> str:
    if any(isinstance(above, QScrollArea) for above in _above(widget)):
        return ""
    place = QRect(widget.mapTo(window, QPoint(0, 0)), widget.size())
    return "" if window.rect().contains(place) else f"{text!r} stands at {place.getRect()}, outside"


def _above(widget: QWidget) -> list[QWidget]:
    parents = []
    while (widget := widget.parentWidget()) is not None:  # type: ignore[assignment]
        parents.append(widget)
    return parents
