"""Pack sheets: what was measured and pulled, what the card asks and the shelf holds; and the answer.

spec_card, pack_sheet, shelf, springs   the documents (PACK.md 1 to 3)
templates                               the same, to fill in
answering                               one sheet from files to its JSON object (PACK.md 4)
answers, words                          values to the object, and to sentences
"""

from __future__ import annotations

from rig.pack.answering import answer

__all__ = ["answer"]
