"""What feedback puts into the site's registries about exporting and erasing people."""

from __future__ import annotations

from portal.registry import erasure_steps, export_steps


def register_persons() -> None:
    """Called once at start-up."""
    from feedback.actions import erase, export

    for step in erase.STEPS:
        erasure_steps.register(step)
    for step in export.STEPS:
        export_steps.register(step)
