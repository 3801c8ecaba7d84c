"""What feedback tells the site about itself: jobs, keeping rules, navigation."""

from __future__ import annotations


def register_all() -> None:
    """Called once at start-up."""
