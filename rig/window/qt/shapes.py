"""The shapes beside the words: one for each tone and each state, so that colour is never needed to tell them apart."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter, QPainterPath, QPen, QPolygonF

from rig.window.model import BenchState
from rig.window.views.verdict import Tone

NARROWEST = 72
"""Letters may be squeezed to this per cent of their width before they are made smaller: height is what is read from afar."""


def fitted(text: str, width: float, cap_height: float, *, bold: bool = True, squeeze: bool = False) -> QFont:
    """A font whose capitals are `cap_height` high, or less where the text would be wider than `width`.

    With `squeeze` the letters become narrower first.
    """
    font = with_tabular_figures(QFont())
    font.setBold(bold)
    font.setPixelSize(100)
    metrics = QFontMetricsF(font)
    by_height = 100 * cap_height / metrics.capHeight()
    by_width = 100 * width / max(1.0, metrics.horizontalAdvance(text))
    if squeeze and by_width < by_height:
        stretch = max(NARROWEST, int(100 * by_width / by_height))
        font.setStretch(stretch)
        by_width = 100 * width / max(1.0, QFontMetricsF(font).horizontalAdvance(text))
    font.setPixelSize(max(9, int(min(by_height, by_width))))
    return font


def wrapped(text: str, room: QSizeF, largest_px: float, smallest_px: int) -> QFont:
    """The largest font in which the text, in as many rows as it takes, fits the room."""
    font = QFont()
    for size in range(max(smallest_px, int(largest_px)), smallest_px - 1, -1):
        font.setPixelSize(size)
        flags = int(Qt.TextFlag.TextWordWrap)
        needs = QFontMetricsF(font).boundingRect(QRectF(0, 0, room.width(), 10_000), flags, text)
        if needs.width() <= room.width() and needs.height() <= room.height():
            break
    return font


def with_tabular_figures(font: QFont) -> QFont:
    """The font with figures of one width (OpenType's `tnum`), so that a number that changes does not dance."""
    font.setFeature(QFont.Tag("tnum"), 1)
    return font


def put_text(painter: QPainter, text: str, left: float, base: float, font: QFont, ink: str) -> float:
    """Write from `left` on the base line `base`; returns where the text ends."""
    painter.setFont(font)
    painter.setPen(QColor(ink))
    painter.drawText(QPointF(left, base), text)
    return left + QFontMetricsF(font).horizontalAdvance(text)


def _pen(ink: str, width: float) -> QPen:
    return QPen(QColor(ink), width, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap, Qt.PenJoinStyle.MiterJoin)


def paint_tone(painter: QPainter, tone: Tone, box: QRectF, shape: str, mark: str) -> None:
    """Tick in a disc, block arrow down or up to a line, diamond with a query, saw teeth on a board, empty square with a stroke."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.translate(box.topLeft())
    painter.scale(box.width() / 100, box.height() / 100)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(shape))
    match tone:
        case Tone.GOOD:
            painter.drawEllipse(QRectF(2, 2, 96, 96))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(_pen(mark, 13))
            painter.drawPolyline(QPolygonF([QPointF(24, 52), QPointF(43, 71), QPointF(77, 31)]))
        case Tone.LOW | Tone.HIGH:
            if tone is Tone.HIGH:
                painter.translate(0, 100)
                painter.scale(1, -1)
            points = [(34, 4), (66, 4), (66, 40), (92, 40), (50, 80), (8, 40), (34, 40)]
            painter.drawPolygon(QPolygonF([QPointF(x, y) for x, y in points]))
            painter.drawRect(QRectF(8, 85, 84, 11))
        case Tone.UNDECIDED:
            painter.drawPolygon(QPolygonF([QPointF(50, 0), QPointF(100, 50), QPointF(50, 100), QPointF(0, 50)]))
            font = QFont()
            font.setBold(True)
            font.setPixelSize(62)
            painter.setFont(font)
            painter.setPen(QColor(mark))
            painter.drawText(QRectF(0, 0, 100, 100), Qt.AlignmentFlag.AlignCenter, "?")
        case Tone.CHATTER:
            painter.drawRect(QRectF(2, 10, 96, 80))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(_pen(mark, 11))
            teeth = [(8, 70), (32, 30), (32, 70), (58, 30), (58, 70), (84, 30), (84, 74)]
            painter.drawPolyline(QPolygonF([QPointF(x, y) for x, y in teeth]))
        case Tone.STOP:
            painter.drawRect(QRectF(6, 6, 36, 88))
            painter.drawRect(QRectF(58, 6, 36, 88))
        case Tone.NONE:
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(_pen(shape, 11))
            painter.drawRect(QRectF(12, 12, 76, 76))
            painter.drawLine(QPointF(14, 86), QPointF(86, 14))
    painter.restore()


def paint_state(painter: QPainter, state: BenchState, box: QRectF, ink: str) -> None:
    """Ring: ready; arrow: pulling; bars: reading; rungs: exercise; broken line: lost; dotted ring: no line; square: ended."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.translate(box.topLeft())
    painter.scale(box.width() / 100, box.height() / 100)
    painter.setPen(_pen(ink, 12))
    match state:
        case BenchState.WAITING:
            painter.drawEllipse(QRectF(12, 12, 76, 76))
        case BenchState.PULLING:
            path = QPainterPath()
            path.arcMoveTo(QRectF(16, 16, 68, 68), 200)
            path.arcTo(QRectF(16, 16, 68, 68), 200, -245)
            painter.drawPath(path)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(ink))
            tip = QPointF(50 + 34 * math.cos(math.radians(45)), 50 + 34 * math.sin(math.radians(45)))
            painter.drawPolygon(QPolygonF([tip + QPointF(22, -14), tip + QPointF(-20, -18), tip + QPointF(-4, 22)]))
        case BenchState.READING:
            for left, top in ((10, 52), (40, 14), (70, 36)):
                painter.fillRect(QRectF(left, top, 20, 92 - top), QColor(ink))
        case BenchState.EXERCISING:
            for top in (8, 42, 76):
                painter.fillRect(QRectF(10, top, 80, 16), QColor(ink))
        case BenchState.LOST:
            painter.drawPolyline(QPolygonF([QPointF(2, 50), QPointF(26, 50), QPointF(42, 16)]))
            painter.drawPolyline(QPolygonF([QPointF(58, 84), QPointF(74, 50), QPointF(98, 50)]))
        case BenchState.NO_LINE | BenchState.SEARCHING:
            pen = _pen(ink, 12)
            pen.setDashPattern([1.0, 0.9])
            painter.setPen(pen)
            painter.drawEllipse(QRectF(12, 12, 76, 76))
        case BenchState.ENDED:
            painter.fillRect(QRectF(18, 18, 64, 64), QColor(ink))
    painter.restore()
