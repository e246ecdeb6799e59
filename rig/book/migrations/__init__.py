"""Numbered migrations of the book's tables (Alembic), a file a version; each stands as a whole or not at all."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.operations import Operations
from alembic.script import ScriptDirectory

from rig.book.book import lock_numbers


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
