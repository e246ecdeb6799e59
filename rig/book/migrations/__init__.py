"""Numbered migrations of the book's tables (Alembic), a file a version; each stands as a whole or not at all."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.operations import Operations
from alembic.script import ScriptDirectory

from rig.book import schema
from rig.book.book import events_of, lock_numbers, write_rows
from rig.book.index import rows_of
from rig.book.record import record_of
from rig.book.versions import VERSION


def scripts() -> ScriptDirectory:
    """The migrations in their order."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    return ScriptDirectory.from_config(config)


def migrate(engine: sa.Engine, version: str) -> None:
    """Bring the tables up to `version`, in one transaction, while no other program may do the same."""
    with engine.connect() as connection:
        connection.execution_options(writing=True)
        with connection.begin():
            lock_numbers(connection)
            context = MigrationContext.configure(connection, opts={"transactional_ddl": True, "render_as_batch": True})
            found = context.get_current_revision()  # read again under the lock: another bench may have been quicker
            steps = [] if found == version else list(scripts().iterate_revisions(version, found or "base"))
            context._ensure_version_table()
            with Operations.context(context):
                for script in reversed(steps):
                    script.module.upgrade()
                    context.stamp(scripts(), script.revision)
            if steps and found is not None and version == VERSION:
                make_indexes_again(connection)


def make_indexes_again(connection: sa.Connection) -> None:
    """Fill the tables that are made from the entries anew; where a file lies is the one thing only they know, and stays."""
    jobs = [row[0] for row in connection.execute(sa.select(schema.numbers.c.job).order_by(schema.numbers.c.job))]
    for table in schema.INDEXES.values():
        if table is not schema.files:
            connection.execute(table.delete())
    for job in jobs:
        events = events_of(connection, job)
        rows = rows_of(record_of(events))
        del rows["files"]
        write_rows(connection, {}, rows, lambda row: "")
