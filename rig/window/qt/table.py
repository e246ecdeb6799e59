"""A table of texts that is only read: rows that do not count are struck out."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtWidgets import QHeaderView, QTableWidget, QTableWidgetItem

from rig.words.language import say


class ReadTable(QTableWidget):
    """The table; its last column takes the room that is left."""

    def __init__(self, headings: Sequence[str], name: str) -> None:
        super().__init__(0, len(headings))
        self.setAccessibleName(name)
        self.setHorizontalHeaderLabels([say(heading) for heading in headings])
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self.horizontalHeader().setStretchLastSection(True)
        self.verticalHeader().hide()
        self.setEditTriggers(QTableWidget.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QTableWidget.SelectionBehavior.SelectRows)
        self.setSelectionMode(QTableWidget.SelectionMode.SingleSelection)

    def show_rows(self, rows: Sequence[tuple[Sequence[str], bool, str]]) -> None:
        """Rows: cells, whether they count, and why not as their tip. What is chosen stays so."""
        chosen = self.currentRow()
        self.setRowCount(len(rows))
        for at, (cells, counts, why) in enumerate(rows):
            for column, text in enumerate(cells):
                item = QTableWidgetItem(text)
                font = item.font()
                font.setStrikeOut(not counts)
                item.setFont(font)
                item.setToolTip(why)
                self.setItem(at, column, item)
        if 0 <= chosen < len(rows):
            self.selectRow(chosen)
