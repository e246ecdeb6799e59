"""The cautions, met before the first pull. They defer to the maker's manual and to qualified persons."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from rig.window.qt.theme import DARK, Theme
from rig.words.language import say
from rig.words.sentences import CAUTIONS

AXLE = QPointF(73, 195)
ARC_RADIUS, ARC_FROM_DEG, ARC_TO_DEG = 140, 26, 56
HEAD_DEG, HEAD_HALF = 12, 17
"""Of the arrow's two heads: how far along the arc a head reaches, and half its width across it. All in the drawing's own size."""


class Lever(QWidget):
    """A drawing of our own: a lever on a clamped unit, and the way it kicks back."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("lever")
        self._theme = DARK

    def set_theme(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._theme = theme
        self.setFixedSize(round(230 * scale), round(300 * scale))
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        theme = self._theme
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.scale(self.width() / 230, self.height() / 300)
        painter.setPen(QPen(QColor(theme.ink), 5))
        painter.setBrush(QColor(theme.sunk))
        painter.drawRect(QRectF(28, 236, 90, 40))
        painter.fillRect(QRectF(28, 250, 90, 12), QColor(theme.line))
        painter.drawEllipse(QRectF(38, 160, 70, 70))
        painter.drawEllipse(QRectF(63, 185, 20, 20))
        painter.setPen(QPen(QColor(theme.ink), 11, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap))
        painter.drawLine(AXLE, QPointF(118, 44))
        painter.setPen(QPen(QColor(theme.alarm.edge), 7))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawArc(box_of_arc(), 16 * ARC_FROM_DEG, 16 * (ARC_TO_DEG - ARC_FROM_DEG))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(theme.alarm.edge))
        for end_deg, on_deg in ((ARC_FROM_DEG, -HEAD_DEG), (ARC_TO_DEG, HEAD_DEG)):
            inner, outer = on_circle(end_deg, ARC_RADIUS - HEAD_HALF), on_circle(end_deg, ARC_RADIUS + HEAD_HALF)
            painter.drawPolygon(QPolygonF([on_circle(end_deg + on_deg, ARC_RADIUS), inner, outer]))
        painter.end()


def on_circle(angle_deg: int, radius: int) -> QPointF:
    """A point around the lever's axle; angles as a painter counts them, from three o'clock against the clock."""
    angle = math.radians(angle_deg)
    return AXLE + QPointF(radius * math.cos(angle), -radius * math.sin(angle))


def box_of_arc() -> QRectF:
    """The square that holds the circle of the arrow."""
    return QRectF(AXLE.x() - ARC_RADIUS, AXLE.y() - ARC_RADIUS, 2 * ARC_RADIUS, 2 * ARC_RADIUS)


class CautionsPage(QWidget):
    """The cautions in large type, and one button."""

    understood = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("cautions page")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        title = QLabel(say("Before you pull"))
        title.setObjectName("figure")
        self._lever = Lever()
        words = QVBoxLayout()
        words.setSpacing(14)  # else it takes the page's own, and the last lines find no room in a small window
        words.addWidget(title)
        for caution in CAUTIONS:
            label = QLabel("▸ " + say(caution))
            label.setObjectName("caution")
            label.setWordWrap(True)
            words.addWidget(label)
        self.button = QPushButton(say("Understood (Space)"))
        self.button.setToolTip(say("Goes to the bench; a pull does so too"))
        self.button.clicked.connect(self.understood)
        words.addSpacing(12)
        words.addWidget(self.button, 0, Qt.AlignmentFlag.AlignLeft)
        words.addStretch(1)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(40, 30, 40, 30)
        layout.setSpacing(36)
        layout.addWidget(self._lever, 0, Qt.AlignmentFlag.AlignTop)
        layout.addLayout(words, 1)

    def dress(self, theme: Theme, scale: float) -> None:
        """Use these colours and sizes."""
        self._lever.set_theme(theme, scale)
        self.setStyleSheet(
            f"QLabel#caution {{ font-size: {round(25 * scale)}px; }} QPushButton {{ font-size: {round(26 * scale)}px; }}"
        )
