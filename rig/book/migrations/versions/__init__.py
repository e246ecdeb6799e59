"""The migrations, a file a version."""
