"""What clinics tell the site about themselves: jobs, keeping rules, navigation."""

from __future__ import annotations


def register_all() -> None:
    """Called once at start-up."""
