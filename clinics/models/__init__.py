from clinics.models.board import BoardAct
from clinics.models.clips import Clip, ClipFile
from clinics.models.consent import ClubRules, Consent, ConsentRequest, ConsentText, Purpose
from clinics.models.custody import Custody
from clinics.models.in_picture import ClipMask, InPicture, MinorReport, StationMask
from clinics.models.phones import (
    ClockExchange,
    ClockScan,
    Phone,
    StationWord,
    TakenBack,
    WishWord,
)
from clinics.models.plan import Camera, Clinic, Duty, Entry, LaneGroup, Station, Swimmer
from clinics.models.pool_hour import DayWish, PoolHour
from clinics.models.preparation import CautionRead, ClinicTask, KitTick
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
from clinics.models.sign_up import EntryNote, SignUp, SignUpSheet
from clinics.models.swims import ChosenStart, Recognised, StartLogEntry, Swim
from clinics.models.try_out import TryOut, TryOutFile, TryOutStill
from clinics.models.venue import VenueSheet

__all__ = [
    "BoardAct",
    "Camera",
    "CautionRead",
    "ChosenStart",
    "Clinic",
    "ClinicClock",
    "ClinicTask",
    "Clip",
    "ClipFile",
    "ClipMask",
    "ClockExchange",
    "ClockFit",
    "ClockScan",
    "ClubRules",
    "Consent",
    "ConsentRequest",
    "ConsentText",
    "Custody",
    "DayWish",
    "DroppedSpan",
    "Duty",
    "Entry",
    "EntryNote",
    "HeardStart",
    "InPicture",
    "KitTick",
    "LaneGroup",
    "MinorReport",
    "Phone",
    "PoolHour",
    "Publication",
    "Purpose",
    "Recognised",
    "Recording",
    "Share",
    "ShelfClip",
    "SignUp",
    "SignUpSheet",
    "SourceFile",
    "StartLogEntry",
    "Station",
    "StationMask",
    "StationWord",
    "Swim",
    "Swimmer",
    "TakenBack",
    "Tie",
    "TryOut",
    "TryOutFile",
    "TryOutStill",
    "Upload",
    "VenueSheet",
    "WishWord",
]
