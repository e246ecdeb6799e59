"""The series as a row of small curves. Click one, or page up and down, to look at it."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFontMetricsF, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QHBoxLayout, QScrollArea, QSizePolicy, QWidget

from rig.window.qt.shapes import fitted, paint_tone, put_text
from rig.window.qt.theme import DARK, Theme
from rig.window.views.series import Card, Summary
from rig.words.language import say

MOST_ROWS, SMALLEST = 4, 0.6
"""Rows beneath the count at full size; a line that is too long goes on in the next row. Where more are needed all become smaller,
down to this share of it."""
CARD_WIDTH, CARD_HEIGHT = 130, 128
"""Of the design size: six, three pulls each way, stand beside the summary."""


def rows_of(lines: Sequence[str], width: float, cap_height: float) -> list[str]:
    """The lines in rows of that width, at that height of letters."""
    metrics = QFontMetricsF(fitted("", width, cap_height, bold=False))
    rows: list[str] = []
    for line in lines:
        row = ""
        for word in line.split(" "):
            longer = f"{row} {word}" if row else word
            if row and metrics.horizontalAdvance(longer) > width:
                rows.append(row)
                longer = word
            row = longer
        rows.append(row)
    return rows


def all_rows_of(lines: Sequence[str], width: float, cap_height: float) -> tuple[list[str], float]:
    """The lines in rows that have room beneath the count, and the share of the height of letters at which they have it."""
    share, rows = 1.0, rows_of(lines, width, cap_height)
    while len(rows) * share > MOST_ROWS and share > SMALLEST:
        share -= 0.05
        rows = rows_of(lines, width, share * cap_height)
    return rows[: int(MOST_ROWS / share)], share


class SummaryBox(QWidget):
    """What the pulls of the series say together."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("summary")
        self._theme = DARK
        self._summary: Summary | None = None

    def show_summary(self, theme: Theme, summary: Summary) -> None:
        """Show this."""
        self._theme, self._summary = theme, summary
        self.setAccessibleName(". ".join([say("Series"), summary.word, summary.count, *summary.lines]))
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        if self._summary is None:
            return
        summary, box = self._summary, QRectF(self.rect())
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        paint = self._theme.tones[summary.tone]
        painter.setPen(QPen(QColor(paint.edge), 2))
        painter.setBrush(QColor(paint.fill))
        painter.drawRoundedRect(box.adjusted(1, 1, -1, -1), 6, 6)
        height, left = box.height(), 0.05 * box.width()
        side = 0.3 * height
        paint_tone(painter, summary.tone, QRectF(left, 0.08 * height, side, side), paint.ink, paint.fill)
        beside = left + side + 0.04 * box.width()
        put_text(
            painter,
            summary.word,
            beside,
            0.29 * height,
            fitted(summary.word, 0.93 * box.width() - beside, 0.17 * height),
            paint.ink,
        )
        put_text(painter, summary.count, left, 0.5 * height, fitted(summary.count, 0.9 * box.width(), 0.1 * height), paint.ink)
        rows, share = all_rows_of(summary.lines, 0.91 * box.width(), 0.078 * height)
        for row, line in enumerate(rows):
            font = fitted(line, 0.91 * box.width(), share * 0.078 * height, bold=False)
            put_text(painter, line, left, (0.54 + share * (0.09 + 0.11 * row)) * height, font, paint.ink)
        painter.end()


class Cards(QWidget):
    """The cards side by side."""

    picked = Signal(int)

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("cards")
        self.setToolTip(say("Click a pull to look at it; Page Up and Page Down go through them"))
        self._theme = DARK
        self._cards: Sequence[Card] = ()
        self._selected: int | None = None
        self._card_width = 150

    def show_cards(self, theme: Theme, cards: Sequence[Card], selected: int | None, card_width: int) -> None:
        """Show these; `selected` is the number of the pull looked at."""
        self._theme, self._cards, self._selected, self._card_width = theme, cards, selected, card_width
        self.setFixedWidth(max(10, card_width * len(cards)))
        self.setAccessibleName(", ".join(f"{card.number} {card.way} {card.value} {card.word}" for card in cards))
        self.update()

    def left_of(self, number: int) -> int:
        """Where the card of this pull begins, in pixels."""
        return next((i for i, card in enumerate(self._cards) if card.number == number), 0) * self._card_width

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        at = int(event.position().x()) // self._card_width
        if 0 <= at < len(self._cards):
            self.picked.emit(self._cards[at].number)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        for i, card in enumerate(self._cards):
            box = QRectF(i * self._card_width, 0, self._card_width, self.height()).adjusted(3, 2, -3, -2)
            if box.right() >= event.rect().left() and box.left() <= event.rect().right():
                self._paint_card(painter, box, card)
        painter.end()

    def _paint_card(self, painter: QPainter, box: QRectF, card: Card) -> None:
        theme, paint = self._theme, self._theme.tones[card.tone]
        chosen = card.number == self._selected
        unit = box.height() / CARD_HEIGHT
        painter.setPen(QPen(QColor(theme.focus if chosen else theme.line), unit * (4 if chosen else 1)))
        painter.setBrush(QColor(theme.panel))
        painter.drawRoundedRect(box, 5 * unit, 5 * unit)
        height = box.height()
        side = 0.2 * height
        paint_tone(painter, card.tone, QRectF(box.left() + 8 * unit, box.top() + 8 * unit, side, side), paint.edge, theme.panel)
        title = f"{card.number}{card.way}" + (" " + say("apart") if card.apart else "")
        left = box.left() + side + 14 * unit
        put_text(
            painter,
            title,
            left,
            box.top() + 8 * unit + 0.8 * side,
            fitted(title, box.right() - left - 6, 0.12 * height, bold=False),
            theme.ink,
        )
        put_text(
            painter,
            card.value,
            box.left() + 9 * unit,
            box.bottom() - 9 * unit,
            fitted(card.value, box.width() - 18 * unit, 0.19 * height),
            theme.ink,
        )
        self._paint_curve(painter, box.adjusted(9 * unit, 0.28 * height, -9 * unit, -0.3 * height), card, 2 * unit)
        if card.excluded is not None:
            painter.fillRect(box, _veil(theme))
            painter.setPen(QPen(QColor(theme.ink), 3 * unit))
            painter.drawLine(box.topLeft() + QPointF(8, 8), box.bottomRight() - QPointF(8, 8))
            font = fitted(card.excluded, box.width() - 16, 0.09 * height)
            put_text(painter, card.excluded, box.left() + 8, box.top() + 0.62 * height, font, theme.ink)

    def _paint_curve(self, painter: QPainter, box: QRectF, card: Card, width_px: float) -> None:
        curve = card.curve
        if curve.x.size < 2:
            return
        width, top = max(1e-9, float(curve.x[-1] - curve.x[0])), max(1e-9, float(curve.y.max()))
        points = [
            QPointF(box.left() + box.width() * (x - curve.x[0]) / width, box.bottom() - box.height() * max(0.0, y) / top)
            for x, y in zip(curve.x.tolist(), curve.y.tolist(), strict=True)
        ]
        painter.setPen(QPen(QColor(self._theme.curve), width_px))
        painter.drawPolyline(QPolygonF(points))


def _veil(theme: Theme) -> QColor:
    colour = QColor(theme.ground)
    colour.setAlpha(170)
    return colour


class SeriesRow(QWidget):
    """Summary at the left, cards to its right, the newest in sight."""

    picked = Signal(int)

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("series")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.summary = SummaryBox()
        self.cards = Cards()
        self._area = QScrollArea()
        self._area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._area.setWidgetResizable(True)
        self._area.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._area.setWidget(self.cards)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self.summary)
        layout.addWidget(self._area, 1)
        self.cards.picked.connect(self.picked)

    def sizeHint(self) -> QSize:  # noqa: N802  Qt's name
        """Qt asks."""
        return QSize(600, 132)

    def show_series(self, theme: Theme, scale: float, summary: Summary, cards: Sequence[Card], selected: int | None) -> None:
        """Show the series; `selected` is the pull looked at, None the newest."""
        self.setFixedHeight(round(132 * scale))
        self.summary.setFixedWidth(round(330 * scale))
        self.summary.show_summary(theme, summary)
        newest = cards[-1].number if cards else None
        width = round(CARD_WIDTH * scale)
        self.cards.show_cards(theme, cards, selected if selected is not None else newest, width)
        if cards:
            shown = selected if selected is not None else cards[-1].number
            self._area.ensureVisible(self.cards.left_of(shown) + width // 2, 0, width, 0)
