"""The cautions, met before the first pull. They defer to the maker's manual and to qualified persons."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from rig.window.qt.theme import DARK, Theme
from rig.words.language import say
from rig.words.sentences import CAUTIONS


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
        painter.drawLine(QPointF(73, 195), QPointF(118, 44))
        painter.setPen(QPen(QColor(theme.alarm.edge), 7))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawArc(QRectF(-80, 40, 310, 310), 58 * 16, -40 * 16)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(theme.alarm.edge))
        painter.drawPolygon(QPolygonF([QPointF(212, 160), QPointF(228, 124), QPointF(190, 132)]))
        painter.drawPolygon(QPolygonF([QPointF(142, 48), QPointF(180, 46), QPointF(160, 82)]))
        painter.end()


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
