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

__all__ = [
    "Attempt",
    "AuditEntry",
    "Club",
    "Heartbeat",
    "Hold",
    "Job",
    "KnownDevice",
    "Membership",
    "OutboxMail",
    "SignInCode",
    "StoredFile",
    "User",
]
