from clinics.models.board import BoardAct
from clinics.models.clips import Clip, ClipFile
from clinics.models.consent import ClubRules, Consent, ConsentRequest, ConsentText, Purpose
from clinics.models.custody import Custody
from clinics.models.in_picture import ClipMask, InPicture, MinorReport, StationMask
from clinics.models.plan import Camera, Clinic, Duty, Entry, LaneGroup, Station, Swimmer
from clinics.models.recordings import (
    ClinicClock,
    ClockFit,
    DroppedSpan,
    HeardStart,
    Recording,
    SourceFile,
    Tie,
    Upload,
)
from clinics.models.shown import Publication, Share, ShelfClip
from clinics.models.swims import Recognised, StartLogEntry, Swim

__all__ = [
    "BoardAct",
    "Camera",
    "Clinic",
    "ClinicClock",
    "Clip",
    "ClipFile",
    "ClipMask",
    "ClockFit",
    "ClubRules",
    "Consent",
    "ConsentRequest",
    "ConsentText",
    "Custody",
    "DroppedSpan",
    "Duty",
    "Entry",
    "HeardStart",
    "InPicture",
    "LaneGroup",
    "MinorReport",
    "Publication",
    "Purpose",
    "Recognised",
    "Recording",
    "Share",
    "ShelfClip",
    "SourceFile",
    "StartLogEntry",
    "Station",
    "StationMask",
    "Swim",
    "Swimmer",
    "Tie",
    "Upload",
]
