from portal.models.audit import AuditEntry
from portal.models.files import Hold, StoredFile
from portal.models.jobs import Heartbeat, Job
from portal.models.mail import OutboxMail
from portal.models.people import (
    Attempt,
    Club,
    KnownDevice,
    Membership,
    SignInCode,
    User,
)
from portal.models.requests import DueWarning, PersonRequest

__all__ = [
    "Attempt",
    "AuditEntry",
    "Club",
    "DueWarning",
    "Heartbeat",
    "Hold",
    "Job",
    "KnownDevice",
    "Membership",
    "OutboxMail",
    "PersonRequest",
    "SignInCode",
    "StoredFile",
    "User",
]
