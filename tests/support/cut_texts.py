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
    QStyleOptionFrame,
    QTableView,
    QWidget,
)

from rig.window.qt.arrangements import ArrangementButton
from rig.window.qt.curves import CurvePlot
from rig.window.qt.elided import ElidedLabel

NEAR_PX = 2
"""A text may be wider than its box by so much before a letter is lost: boxes are rounded."""
LINE_EDIT_MARGINS_PX = 8
"""Qt's own at both sides of the text within a field, and the room that letters may take before their first point."""
EDGE_PX = 4
"""So much of a button at each side is its edge."""


def cut_texts(window: QWidget) -> list[str]:
    """Each visible text of the window that is cut, with what it needs and has."""
    shown = [widget for widget in window.findChildren(QWidget) if widget.isVisible()]
    return [lacks for widget in shown if (lacks := lacking(widget, window))]


def lacking(widget: QWidget, window: QWidget) -> str:
    """What of the widget's own text is cut; "" where all of it is seen.

    A path leaves out its middle on purpose (it stands in the tool tip); the picture of an arrangement paints its words as large as
    they fit.
    """
    if isinstance(widget, ArrangementButton):
        return ""
    if isinstance(widget, ElidedLabel):
        left_out = widget.shown() != widget.text() and not widget.leaves_out_a_path
        return f"{widget.text()!r} is shown as {widget.shown()!r}" if left_out else ""
    if isinstance(widget, CurvePlot):
        return _axes(widget)
    if isinstance(widget, QTableView):
        return _headings(widget)
    if isinstance(widget, QLabel) and widget.text() and widget.pixmap().isNull():
        return _label(widget) or _covered(widget, window, widget.text())
    if isinstance(widget, QAbstractButton) and widget.text():
        lines = widget.text().split("\n")
        wide = max(widget.fontMetrics().horizontalAdvance(line.replace("&", "")) for line in lines)
        return _narrow(widget.text(), wide, widget.width() - 2 * EDGE_PX) or _covered(widget, window, widget.text())
    if isinstance(widget, QComboBox):
        line = widget.lineEdit()
        text = widget.currentText() or ("" if line is None else line.placeholderText()) or widget.placeholderText()
        room = widget.width() - widget.style().pixelMetric(QStyle.PixelMetric.PM_ScrollBarExtent, None, widget)
        room = room if line is None else line.width() - EDGE_PX
        return _narrow(text, widget.fontMetrics().horizontalAdvance(text), room) or _covered(widget, window, text or "box")
    if isinstance(widget, QLineEdit) and not isinstance(widget.parent(), QComboBox):
        text = widget.text() or widget.placeholderText()
        option = QStyleOptionFrame()
        widget.initStyleOption(option)
        inner = widget.style().subElementRect(QStyle.SubElement.SE_LineEditContents, option, widget)
        room = inner.width() - LINE_EDIT_MARGINS_PX
        return _narrow(text, widget.fontMetrics().horizontalAdvance(text), room) or _covered(widget, window, text or "field")
    return ""


def _label(label: QLabel) -> str:
    if label.wordWrap():
        needs = label.heightForWidth(label.width())
        return f"{label.text()!r} needs {needs} high, has {label.height()}" if needs > label.height() + NEAR_PX else ""
    return _narrow(label.text(), label.sizeHint().width(), label.width()) if label.contentsRect().isValid() else ""


def _axes(plot: CurvePlot) -> str:
    for side, across in (("left", plot.getAxis("left").height()), ("bottom", plot.getAxis("bottom").width())):
        axis = plot.getAxis(side)
        if not axis.isVisible() or not axis.label.isVisible():
            continue
        if found := _narrow(axis.labelText, int(axis.label.boundingRect().width()), int(across)):
            return found
        place = axis.label.mapRectToScene(axis.label.boundingRect()).adjusted(EDGE_PX, EDGE_PX, -EDGE_PX, -EDGE_PX)
        if not plot.sceneRect().contains(place):
            return f"{axis.labelText!r} stands at {place.getRect()}, outside its diagram {plot.sceneRect().getRect()}"
    return ""


def _headings(table: QTableView) -> str:
    header = table.horizontalHeader()
    for at in range(header.count()):
        text = str(table.model().headerData(at, header.orientation()) or "")
        if not header.isSectionHidden(at) and (
            found := _narrow(text, header.fontMetrics().horizontalAdvance(text), header.sectionSize(at))
        ):
            return found
    return ""


def _narrow(text: str, needs: int, has: int) -> str:
    return f"{text!r} needs {needs} wide, has {has}" if text and needs > has + NEAR_PX else ""


def _covered(widget: QWidget, window: QWidget, text: str) -> str:
    """Whether something of the widget lies outside what holds it, under another, or outside the window; what scrolls may."""
    above = widget.parentWidget()
    while above is not None:
        if isinstance(above, QScrollArea):
            return ""
        above = above.parentWidget()
    place = QRect(widget.mapTo(window, QPoint(0, 0)), widget.size())
    if not window.rect().contains(place):
        return f"{text!r} stands at {place.getRect()}, outside"
    seen = widget.visibleRegion().boundingRect()
    lost = max(widget.width() - seen.width(), widget.height() - seen.height())
    return f"{text!r} has {widget.size().toTuple()}, {seen.getRect()} of it are seen" if lost > 0 else ""
