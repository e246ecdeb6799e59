"""The tables of the book. `events` and `numbers` are the record; the others are made from the events and can be made again."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, Float, ForeignKey, Index, Integer, MetaData, Table, Text

metadata = MetaData()

numbers = Table(
    "numbers",
    metadata,
    Column("job", Text, primary_key=True),
    Column("year", Integer, nullable=False),
    Column("counter", Integer, nullable=False),
    Column("first_hash", Text, nullable=False),
)
"""Every job number ever handed out or taken over, with the hash of the job's first entry: what is handed out stays so."""

events = Table(
    "events",
    metadata,
    Column("job", Text, ForeignKey("numbers.job"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("at_utc", Text, nullable=False),
    Column("offset_min", Integer, nullable=False),
    Column("who", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("previous", Text, nullable=False),
    Column("hash", Text, nullable=False),
)

jobs = Table(
    "jobs",
    metadata,
    Column("job", Text, primary_key=True),
    Column("year", Integer, nullable=False),
    Column("counter", Integer, nullable=False),
    Column("unit", Text, nullable=False),
    Column("customer", Text),
    Column("complaint", Text),
    Column("opened_at", Text, nullable=False),
    Column("closed_at", Text),
    Column("events", Integer, nullable=False),
    Column("head", Text, nullable=False),
    Index("jobs_by_unit", "unit"),
)

pulls = Table(
    "pulls",
    metadata,
    Column("job", Text, primary_key=True),
    Column("entry", Integer, primary_key=True),
    Column("sha256", Text, nullable=False),
    Column("made_at", Text),
    Column("phase", Text),
    Column("arrangement", Text),
    Column("closure", Text),
    Column("lubricant", Text),
    Column("additive", Text),
    Column("sensor", Text),
    Column("plates", Text),
    Column("plate_state", Text),
    Column("direction", Integer),
    Column("breakaway_nm", Float),
    Column("breakaway_u_nm", Float),
    Column("sliding_nm", Float),
    Column("sliding_u_nm", Float),
    Column("chattering", Boolean),
    Column("votes", Boolean, nullable=False),
    Index("pulls_by_sha256", "sha256"),
)

files = Table(
    "files",
    metadata,
    Column("job", Text, primary_key=True),
    Column("entry", Integer, primary_key=True),
    Column("part", Integer, primary_key=True),
    Column("name", Text, nullable=False),
    Column("sha256", Text, nullable=False),
    Column("path", Text, nullable=False),
)
"""`path` is where the file lies: relative to the book's folder where it lies below it, else absolute; '/' between folders."""

texts = Table(
    "texts",
    metadata,
    Column("job", Text, primary_key=True),
    Column("entry", Integer, primary_key=True),
    Column("kind", Text, primary_key=True),
    Column("folded", Text, nullable=False),
)

INDEXES = {"jobs": jobs, "pulls": pulls, "files": files, "texts": texts}
"""The tables made from the events, by name."""
