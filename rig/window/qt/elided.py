"""A label of one line: where it is too long a path at its end loses its middle, for the ends tell, and a sentence its end."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QLabel


class ElidedLabel(QLabel):
    """The whole text stands in its tool tip, and is what a screen reader gets."""

    def minimumSizeHint(self) -> QSize:  # noqa: N802  Qt's name
        """As narrow as it must be."""
        return QSize(0, super().minimumSizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802  Qt's name
        """Qt asks."""
        shown = self.shown()
        self.setToolTip("" if shown == self.text() else self.text())
        painter = QPainter(self)
        painter.setPen(self.palette().color(self.foregroundRole()))
        painter.drawText(self.contentsRect(), Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, shown)
        painter.end()

    def shown(self) -> str:
        """What fits: a path is shortened within, the words before it stay."""
        text, metrics, room = self.text(), self.fontMetrics(), self.contentsRect().width()
        if metrics.horizontalAdvance(text) <= room:
            return text
        words, space, path = text.rpartition(" ")
        if "/" in path or "\\" in path:
            left = room - metrics.horizontalAdvance(words + space)
            if left > metrics.horizontalAdvance("m" * 12):
                return words + space + metrics.elidedText(path, Qt.TextElideMode.ElideMiddle, left)
        return metrics.elidedText(text, Qt.TextElideMode.ElideRight, room)
