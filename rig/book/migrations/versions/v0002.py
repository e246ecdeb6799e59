"""What else pulls of one series have in common: which plates, in what state; the history of a unit found at once."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the columns and the index; what stands in them is made from the entries afterwards."""
    with op.batch_alter_table("pulls") as pulls:
        pulls.add_column(sa.Column("plates", sa.Text))
        pulls.add_column(sa.Column("plate_state", sa.Text))
    op.create_index("jobs_by_unit", "jobs", ["unit"])
