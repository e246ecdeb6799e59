"""A few questions in one form: all of them are seen before the first is answered, and one key takes or leaves them all."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtWidgets import QComboBox, QDialog, QDialogButtonBox, QFormLayout, QLineEdit, QVBoxLayout, QWidget

from rig.words.language import say

Question = tuple[str, str | tuple[str, ...]]
"""What is asked, and an example of an answer; or the answers to choose from."""


class FormDialog(QDialog):
    """The first question must be answered; `answers` are the texts in their order, of a choice its words."""

    def __init__(self, parent: QWidget, title: str, questions: Sequence[Question]) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        self.fields: list[QLineEdit | QComboBox] = []
        form = QFormLayout()
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapAllRows)
        for words, example in questions:
            field: QLineEdit | QComboBox
            if isinstance(example, tuple):
                field = QComboBox()
                field.addItems(list(example))
            else:
                field = QLineEdit()
                field.setPlaceholderText(example)
                field.textChanged.connect(lambda _: self._may_take())
            field.setAccessibleName(words)
            form.addRow(words, field)
            self.fields.append(field)
        kinds = QDialogButtonBox.StandardButton
        self._buttons = QDialogButtonBox(kinds.Ok | kinds.Cancel)
        self._buttons.button(kinds.Ok).setText(say("Enter it"))
        self._buttons.button(kinds.Cancel).setText(say("Leave it"))
        self._buttons.accepted.connect(self.accept)
        self._buttons.rejected.connect(self.reject)
        layout = QVBoxLayout(self)
        layout.addLayout(form)
        layout.addWidget(self._buttons)
        self._may_take()

    @property
    def answers(self) -> list[str]:
        """What stands in the fields."""
        return [(each.currentText() if isinstance(each, QComboBox) else each.text()).strip() for each in self.fields]

    def _may_take(self) -> None:
        self._buttons.button(QDialogButtonBox.StandardButton.Ok).setEnabled(bool(self.answers and self.answers[0]))


def ask(parent: QWidget, title: str, *questions: Question) -> list[str] | None:
    """The answers; None where the form was left."""
    dialog = FormDialog(parent, title, questions)
    taken = dialog.exec() == QDialog.DialogCode.Accepted
    dialog.deleteLater()
    return dialog.answers if taken else None
