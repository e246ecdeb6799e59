"""Refit sheets (REFIT.toml): read, judged against the maker's page, and answered in figures and sentences."""

from rig.refit.answers import answer, exit_status

__all__ = ["answer", "exit_status"]
