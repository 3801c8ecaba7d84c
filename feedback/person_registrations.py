"""What feedback puts into the site's registries about exporting and erasing people, and about
what a restore does again."""

from __future__ import annotations

from portal.registry import erasure_steps, export_steps, ledger_replays


def register_persons() -> None:
    """Called once at start-up."""
    from feedback.actions import erase, export, replay

    for step in erase.STEPS:
        erasure_steps.register(step)
    for step in export.STEPS:
        export_steps.register(step)
    for again in replay.REPLAYS:
        ledger_replays.register(again)
