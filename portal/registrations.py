"""What the site itself puts into its registries."""

from __future__ import annotations


def register_all() -> None:
    """Called once at start-up."""
