"""The bolts of a group as a circle: the order of a pass, how each stands, the next one to pull in large."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from rig.window.qt.shapes import fitted, put_text
from rig.window.qt.theme import DARK, Theme
from rig.window.views.refit import BoltView
from rig.window.views.verdict import Tone
from rig.words.language import say

LARGEST_SHARE = 0.13
"""Of the picture's side, the radius of a bolt in a small group."""


class BoltCircle(QWidget):
    """The picture; bolt 1 stands at the top, the numbers go round as seen from the bolt heads."""

    def __init__(self) -> None:
        super().__init__()
        self._bolts: tuple[BoltView, ...] = ()
        self._theme = DARK
        self.setMinimumSize(160, 160)

    def show_bolts(self, bolts: tuple[BoltView, ...], theme: Theme) -> None:
        """Show these."""
        self._bolts, self._theme = bolts, theme
        order = sorted(bolts, key=lambda bolt: bolt.place)
        self.setAccessibleName(say("order of the bolts: {order}", order=" ".join(str(bolt.number) for bolt in order)))
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        side = min(self.width(), self.height())
        middle = QPointF(self.width() / 2, self.height() / 2)
        count = len(self._bolts)
        if not count:
            words = say("how many bolts?")
            font = fitted(words, 0.6 * side, 0.1 * side, bold=False)
            put_text(painter, words, middle.x() - 0.3 * side, middle.y(), font, self._theme.soft)
            painter.end()
            return
        radius = min(LARGEST_SHARE * side, 0.8 * math.pi * 0.38 * side / count)
        ring = 0.5 * side - 1.25 * radius
        painter.setPen(QPen(QColor(self._theme.line), 2))
        painter.drawEllipse(middle, ring, ring)
        for bolt in self._bolts:
            angle = 2 * math.pi * (bolt.number - 1) / count - math.pi / 2
            at = QPointF(middle.x() + ring * math.cos(angle), middle.y() + ring * math.sin(angle))
            self._paint_bolt(painter, bolt, at, radius)
            inner = ring - 1.6 * radius
            if inner > radius:
                place = QPointF(middle.x() + inner * math.cos(angle), middle.y() + inner * math.sin(angle))
                self._centred(painter, f"{bolt.place}.", place, 1.2 * radius, 0.6 * radius, self._theme.soft)
        following = next((bolt for bolt in self._bolts if bolt.next), None)
        if following is not None:
            self._centred(painter, str(following.number), middle, 0.3 * side, 0.26 * side, self._theme.mark)
        painter.end()

    def _paint_bolt(self, painter: QPainter, bolt: BoltView, at: QPointF, radius: float) -> None:
        theme = self._theme
        paint = theme.tones[bolt.tone]
        done = bolt.tone is not Tone.NONE
        edge = theme.mark if bolt.next else paint.edge if done else theme.line
        painter.setPen(QPen(QColor(edge), 6 if bolt.next else 2))
        painter.setBrush(QColor(paint.fill if done else theme.panel))
        painter.drawEllipse(at, radius, radius)
        ink = paint.ink if done else theme.ink
        if bolt.peak:
            self._centred(painter, str(bolt.number), QPointF(at.x(), at.y() - 0.4 * radius), 1.2 * radius, 0.7 * radius, ink)
            self._centred(painter, bolt.peak, QPointF(at.x(), at.y() + 0.38 * radius), 1.6 * radius, 0.7 * radius, ink)
        else:
            self._centred(painter, str(bolt.number), at, 1.3 * radius, radius, ink)

    @staticmethod
    def _centred(painter: QPainter, text: str, at: QPointF, width: float, height: float, ink: str) -> None:
        """A text about a point, as large as fits."""
        painter.setFont(fitted(text, width, height))
        painter.setPen(QColor(ink))
        painter.drawText(QRectF(at.x() - width, at.y() - height, 2 * width, 2 * height), Qt.AlignmentFlag.AlignCenter, text)
