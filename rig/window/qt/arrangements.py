"""The arrangements as pictures of our own: what is clamped, what the hand turns, what runs free."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QAbstractButton, QSizePolicy

from rig.window.qt.shapes import fitted, put_text, wrapped
from rig.window.qt.theme import DARK, Theme
from rig.words.arrangements import SCENES, Arrangement, Scene
from rig.words.language import say

LARGEST_WORDS, SMALLEST_PX = 0.125, 7
"""Size of the words: at most this share of the picture, at least so many pixels."""


class ArrangementButton(QAbstractButton):
    """One arrangement to pick: picture, code, words and what the reading means."""

    def __init__(self, arrangement: Arrangement) -> None:
        super().__init__()
        self.arrangement = arrangement
        self.setObjectName(f"arrangement {arrangement.code}")
        self.setCheckable(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(120, 100)
        words = f"{arrangement.code}: {say(arrangement.what)}"
        self.setAccessibleName(words)
        self.setToolTip(f"{words}\n{say('reading = torque of one equal pack')} {say(arrangement.factor)}")
        self._theme = DARK
        self.marked = False

    def sizeHint(self) -> QSize:  # noqa: N802  Qt's name
        """Qt asks."""
        return QSize(170, 130)

    def show_theme(self, theme: Theme, *, marked: bool) -> None:
        """Use these colours; `marked`: it differs from that of the last pull."""
        self._theme, self.marked = theme, marked
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        theme, box = self._theme, QRectF(self.rect()).adjusted(3, 3, -3, -3)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        chosen = self.isChecked()
        edge, width = (theme.mark, 5) if chosen and self.marked else (theme.ink, 4) if chosen else (theme.line, 1)
        painter.setPen(QPen(QColor(theme.focus), 4) if self.hasFocus() and not chosen else QPen(QColor(edge), width))
        painter.setBrush(QColor(theme.panel if not chosen else theme.sunk))
        painter.drawRoundedRect(box, 6, 6)
        cap = 0.1 * box.height()
        code = self.arrangement.code + (" ✓" if chosen else "")
        put_text(painter, code, box.left() + 8, box.top() + 8 + cap, fitted(code, 60, cap), theme.ink)
        words = say(self.arrangement.what)
        foot = QRectF(box.left() + 6, box.bottom() - 0.33 * box.height(), box.width() - 12, 0.32 * box.height())
        painter.setFont(wrapped(words, foot.size(), LARGEST_WORDS * box.height(), SMALLEST_PX))
        painter.setPen(QColor(theme.ink))
        painter.drawText(foot, Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, words)
        picture = QRectF(box.left(), box.top() + 0.05 * box.height(), box.width(), 0.62 * box.height())
        side = min(picture.width() / 200, picture.height() / 100)
        painter.translate(picture.center())
        painter.scale(side, side)
        paint_scene(painter, SCENES[self.arrangement.code], theme)
        painter.end()


def paint_scene(painter: QPainter, scene: Scene, theme: Theme) -> None:
    """Draw within 200 by 100 around the origin: case with its two outputs, clamps hatched, turning arrows, free ends open."""
    ink = QColor(theme.ink)
    painter.setPen(QPen(ink, 3))
    painter.setBrush(QColor(theme.sunk))
    painter.drawRoundedRect(QRectF(-30, -26, 60, 52), 6, 6)
    packs = (-20, -13, 7, 14) if scene.extra != "one pack" else (-20, -13)
    for x in packs:
        painter.fillRect(QRectF(x, -18, 3, 36), ink)
    if scene.extra != "one pack":
        painter.drawPolygon(QPolygonF([QPointF(-5, -8), QPointF(5, -8), QPointF(2, 8), QPointF(-2, 8)]))
    for sign, what in ((-1, scene.left), (1, scene.right)):
        painter.setPen(QPen(ink, 6))
        painter.drawLine(QPointF(sign * 32, 0), QPointF(sign * 62, 0))
        _paint_end(painter, what, QPointF(sign * 74, 0), theme, wheel=scene.extra == "wheels")
    if scene.case == "held":
        _paint_clamp(painter, QRectF(-16, 28, 32, 16), theme)
    elif scene.case == "turned":
        _paint_turn(painter, QPointF(0, -32), 15, theme, back=False)
    if scene.extra == "pinion":
        painter.setPen(QPen(ink, 6))
        painter.drawLine(QPointF(0, 28), QPointF(0, 40))
        _paint_turn(painter, QPointF(0, 42), 12, theme, back=False)


def _paint_end(painter: QPainter, what: str, at: QPointF, theme: Theme, *, wheel: bool) -> None:
    if wheel:
        painter.setPen(QPen(QColor(theme.ink), 4))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRoundedRect(QRectF(at.x() - 8, at.y() - 28, 16, 56), 7, 7)
    if what == "held":
        _paint_clamp(painter, QRectF(at.x() - 12, -18, 24, 36), theme)
    elif what == "floor":
        painter.fillRect(QRectF(at.x() - 24, 29, 48, 5), QColor(theme.ink))
    elif what in ("turned", "back"):
        _paint_turn(painter, at, 21, theme, back=what == "back")
    elif not wheel:
        painter.setPen(QPen(QColor(theme.soft), 3, Qt.PenStyle.DotLine))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawEllipse(at, 12, 12)


def _paint_clamp(painter: QPainter, box: QRectF, theme: Theme) -> None:
    painter.setPen(QPen(QColor(theme.ink), 3))
    painter.setBrush(QColor(theme.panel))
    painter.drawRect(box)
    pen = QPen(QColor(theme.ink), 2)
    painter.save()
    painter.setClipRect(box)
    painter.setPen(pen)
    x = box.left() - box.height()
    while x < box.right():
        painter.drawLine(QPointF(x, box.bottom()), QPointF(x + box.height(), box.top()))
        x += 8
    painter.restore()


def _paint_turn(painter: QPainter, at: QPointF, radius: float, theme: Theme, *, back: bool) -> None:
    colour = QColor(theme.curve)
    painter.save()
    painter.translate(at)
    if back:
        painter.scale(-1, 1)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(QPen(colour, 5))
    path = QPainterPath()
    circle = QRectF(-radius, -radius, 2 * radius, 2 * radius)
    path.arcMoveTo(circle, 210)
    path.arcTo(circle, 210, -230)
    painter.drawPath(path)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    tip = QPointF(0.94 * radius, 0.34 * radius)
    painter.drawPolygon(QPolygonF([tip + QPointF(-9, -4), tip + QPointF(9, -4), tip + QPointF(-2, 12)]))
    painter.restore()
