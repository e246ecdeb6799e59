"""Not used: migrations run through `rig.book.migrations.migrate`; Alembic's own command line expects this file."""
