"""What the try-out's page shows: who swims, the two starts, each station with its files."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from clinics.compute.try_out import Check, State, gaps_that_differ
from clinics.models import Clinic, Station, TryOut, TryOutFile
from clinics.views.try_out_words import LABELS, STATES, finding_words

if TYPE_CHECKING:
    from portal.models import User

TONE = {"ok": "", "look": "look", "bad": "unknown"}  # classes of .state in site.css


@dataclass(frozen=True)
class FindingLine:
    label: str
    state: str
    state_words: str
    tone: str
    words: str


@dataclass(frozen=True)
class FileLine:
    """`stills` are empty for who may not see them. `worst` is the worst state of its findings."""

    file: TryOutFile
    findings: list[FindingLine]
    worst: str
    sees: bool

    @property
    def worst_words(self) -> str:
        return str(STATES.get(self.worst, self.worst))

    @property
    def tone(self) -> str:
        return TONE.get(self.worst, "unknown")


@dataclass
class StationLine:
    station: Station
    files: list[FileLine] = field(default_factory=list)


@dataclass(frozen=True)
class Told:
    try_out: TryOut
    stations: list[StationLine]

    @property
    def busy(self) -> bool:
        waiting = TryOutFile.State.WAITING
        return any(one.file.state == waiting for line in self.stations for one in line.files)

    @property
    def missing(self) -> int:
        """Stations without a file."""
        return sum(not line.files for line in self.stations)


def told_of(clinic: Clinic, try_out: TryOut, user: User) -> Told:
    """Four queries, however many files there are."""
    lines = {one.pk: StationLine(one) for one in clinic.stations.all()}
    files = list(try_out.files.select_related("station").prefetch_related("stills"))
    seen = set(
        TryOutFile.objects.filter(try_out=try_out).visible_to(user).values_list("pk", flat=True)
    )
    differ = set(gaps_that_differ(_gaps(files)))
    for file in files:
        line = _file_line(file, file.pk in seen, str(file.pk) in differ)
        lines[file.station_id].files.append(line)
    return Told(try_out, list(lines.values()))


def _gaps(files: list[TryOutFile]) -> dict[str, float]:
    """Between the starts, by each camera that heard both."""
    return {
        str(file.pk): finding["numbers"]["gap_s"]
        for file in files
        for finding in file.findings
        if finding["check"] == Check.START and "gap_s" in finding["numbers"]
    }


def _file_line(file: TryOutFile, sees: bool, differs: bool) -> FileLine:
    found = [_line(one, differs) for one in file.findings]
    order = list(State)
    states = [one.state for one in found] or [State.BAD.value]
    worst = max(states, key=lambda state: order.index(State(state)))
    if file.state == TryOutFile.State.FAILED:
        worst = State.BAD.value
    return FileLine(file, found, worst, sees)


def _line(finding: dict[str, Any], differs: bool) -> FindingLine:
    check, state = finding["check"], finding["state"]
    words = finding_words(check, finding["what"], finding["numbers"])
    if check == Check.START and differs and "gap_s" in finding["numbers"]:
        state = State.LOOK.value
        words += " " + _(
            "The other cameras hear the two starts differently far apart: is this file whole, and"
            " its sound in step?"
        )
    label = LABELS[Check(check)] if check in set(Check) else check
    return FindingLine(str(label), state, str(STATES[state]), TONE[state], words)
