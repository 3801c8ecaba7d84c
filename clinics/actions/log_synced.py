"""What became of what a phone sent."""

from __future__ import annotations

from dataclasses import dataclass, field

from clinics.actions.settle_swims import Settled
from clinics.compute.phone_clock import PhoneLine
from clinics.compute.phone_sync import Refused


@dataclass
class Synced:
    """`kept`: ids of what was taken in, or was here already. `lines` that are new, `undone` lines
    that were not before (ids of rows), `words`: notes, wishes and words on stations that changed
    something. `clock`: how the phone's clock is doing, None if nothing is known."""

    kept: list[str] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    clock: PhoneLine | None = None
    lines: int = 0
    undone: list[str] = field(default_factory=list)
    words: int = 0
    settled: Settled = field(default_factory=Settled)

    @property
    def changed(self) -> bool:
        return bool(self.lines or self.undone or self.words or self.settled.changed)
