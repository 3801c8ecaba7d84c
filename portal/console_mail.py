"""Mail in development: written to the terminal, to be read by a person.

Written to the terminal itself, because a worker turns what is printed into log lines.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

RULE = "-" * 72


class EmailBackend(BaseEmailBackend):
    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        terminal = sys.__stdout__ or sys.stdout
        for message in email_messages:
            head = f"Mail to {', '.join(message.to)}: {message.subject}"
            terminal.write(f"{RULE}\n{head}\n\n{message.body}\n{RULE}\n")
        terminal.flush()
        return len(email_messages)
