from clinics.models.clips import Clip, ClipFile
from clinics.models.consent import Consent
from clinics.models.plan import Camera, Clinic, Duty, Entry, LaneGroup, Station, Swimmer
from clinics.models.recordings import ClockFit, Recording, SourceFile, Tie, Upload
from clinics.models.swims import Recognised, StartLogEntry, Swim

__all__ = [
    "Camera",
    "Clinic",
    "Clip",
    "ClipFile",
    "ClockFit",
    "Consent",
    "Duty",
    "Entry",
    "LaneGroup",
    "Recognised",
    "Recording",
    "SourceFile",
    "StartLogEntry",
    "Station",
    "Swim",
    "Swimmer",
    "Tie",
    "Upload",
]
