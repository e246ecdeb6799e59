"""The first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    text, integer = sa.Text, sa.Integer
    op.create_table(
        "numbers",
        sa.Column("job", text, primary_key=True),
        sa.Column("year", integer, nullable=False),
        sa.Column("counter", integer, nullable=False),
        sa.Column("first_hash", text, nullable=False),
    )
    op.create_table(
        "events",
        sa.Column("job", text, sa.ForeignKey("numbers.job"), primary_key=True),
        sa.Column("number", integer, primary_key=True),
        sa.Column("at_utc", text, nullable=False),
        sa.Column("offset_min", integer, nullable=False),
        sa.Column("who", text, nullable=False),
        sa.Column("kind", text, nullable=False),
        sa.Column("body", text, nullable=False),
        sa.Column("previous", text, nullable=False),
        sa.Column("hash", text, nullable=False),
    )
    op.create_table(
        "jobs",
        sa.Column("job", text, primary_key=True),
        sa.Column("year", integer, nullable=False),
        sa.Column("counter", integer, nullable=False),
        sa.Column("unit", text, nullable=False),
        sa.Column("customer", text),
        sa.Column("complaint", text),
        sa.Column("opened_at", text, nullable=False),
        sa.Column("closed_at", text),
        sa.Column("events", integer, nullable=False),
        sa.Column("head", text, nullable=False),
    )
    op.create_table(
        "pulls",
        sa.Column("job", text, primary_key=True),
        sa.Column("entry", integer, primary_key=True),
        sa.Column("sha256", text, nullable=False),
        sa.Column("made_at", text),
        sa.Column("phase", text),
        sa.Column("arrangement", text),
        sa.Column("closure", text),
        sa.Column("lubricant", text),
        sa.Column("additive", text),
        sa.Column("sensor", text),
        sa.Column("direction", integer),
        sa.Column("breakaway_nm", sa.Float),
        sa.Column("breakaway_u_nm", sa.Float),
        sa.Column("sliding_nm", sa.Float),
        sa.Column("sliding_u_nm", sa.Float),
        sa.Column("chattering", sa.Boolean),
        sa.Column("votes", sa.Boolean, nullable=False),
    )
    op.create_index("pulls_by_sha256", "pulls", ["sha256"])
    op.create_table(
        "files",
        sa.Column("job", text, primary_key=True),
        sa.Column("entry", integer, primary_key=True),
        sa.Column("part", integer, primary_key=True),
        sa.Column("name", text, nullable=False),
        sa.Column("sha256", text, nullable=False),
        sa.Column("path", text, nullable=False),
    )
    op.create_table(
        "texts",
        sa.Column("job", text, primary_key=True),
        sa.Column("entry", integer, primary_key=True),
        sa.Column("kind", text, primary_key=True),
        sa.Column("folded", text, nullable=False),
    )
