"""A label that shows as much as fits: first smaller, then in more rows; a path leaves out its middle, for the ends tell."""

from __future__ import annotations

from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtGui import QFont, QFontInfo, QFontMetrics, QPainter, QPaintEvent
from PySide6.QtWidgets import QLabel

SMALLEST, SMALLER = 0.7, 0.94
"""A text becomes smaller by steps, down to this share of its size, before something of it is left out."""
_FLAGS = int(Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft)


class ElidedLabel(QLabel):
    """The whole text stands in its tool tip where something is left out, and is what a screen reader gets."""

    def minimumSizeHint(self) -> QSize:  # noqa: N802  Qt's name
        """As narrow as it must be."""
        return QSize(0, super().minimumSizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        shown, font = self._fitted()
        self.setToolTip("" if shown == self.text() else self.text())
        painter = QPainter(self)
        painter.setFont(font)
        painter.setPen(self.palette().color(self.foregroundRole()))
        painter.drawText(self.contentsRect(), _FLAGS | int(Qt.TextFlag.TextWordWrap), shown)
        painter.end()

    def shown(self) -> str:
        """What is seen."""
        return self._fitted()[0]

    @property
    def leaves_out_a_path(self) -> bool:
        """Whether a path stands at the end, so that its middle can be left out."""
        path = self.text().rpartition(" ")[2]
        return "/" in path or "\\" in path

    def _fitted(self) -> tuple[str, QFont]:
        text, room, font = self.text(), self.contentsRect(), QFont(self.font())
        metrics = QFontMetrics(font)
        if metrics.horizontalAdvance(text) <= room.width():
            return text, font
        if self.leaves_out_a_path:
            words, space, path = text.rpartition(" ")
            left = room.width() - metrics.horizontalAdvance(words + space)
            if left > metrics.horizontalAdvance("m" * 12):
                return words + space + metrics.elidedText(path, Qt.TextElideMode.ElideMiddle, left), font
        full, size = QFontInfo(font).pixelSize(), 1.0
        while size >= SMALLEST:
            font.setPixelSize(max(1, round(size * full)))
            needs = QFontMetrics(font).boundingRect(QRect(0, 0, room.width(), 10_000), _FLAGS | int(Qt.TextFlag.TextWordWrap), text)
            if needs.width() <= room.width() and needs.height() <= room.height():
                return text, font
            size *= SMALLER
        return QFontMetrics(font).elidedText(text, Qt.TextElideMode.ElideRight, room.width()), font
