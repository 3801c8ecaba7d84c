"""Log lines: UTC, one line each, so that nobody can forge a second one."""

from __future__ import annotations

import logging
import time
from contextvars import ContextVar

request_id: ContextVar[str] = ContextVar("request_id", default="-")


class UtcLineFormatter(logging.Formatter):
    """`2026-11-14T10:15:33Z INFO portal.sign_in [request id] message`."""

    converter = staticmethod(time.gmtime)

    def __init__(self) -> None:
        super().__init__("%(asctime)sZ %(levelname)s %(name)s [%(request_id)s] %(message)s")
        self.datefmt = "%Y-%m-%dT%H:%M:%S"

    def format(self, record: logging.LogRecord) -> str:
        record.request_id = request_id.get()
        head, *trace = super().format(record).split("\nTraceback", 1)
        head = head.replace("\r", "\\r").replace("\n", "\\n")
        return "\nTraceback".join([head, *trace])
