"""The doorbell's folder: kombu's filesystem transport with three holes closed.

Kombu writes a message in place, so a reader may meet it with 0 bytes, and dies of that;
it moves what it reads through the system's shared temporary folder; and it keeps which
queue hears which exchange in files that it writes in place, so that a worker killed at
that moment leaves an empty one, and no bell is heard any more. Here a message appears
whole by a rename, stays in the private folder, one that cannot be read is logged and
forgotten (the sweep rings again for the rows it stood for), and a bell goes to the queue
that it names, without any table.
"""

from __future__ import annotations

import logging
import time
import uuid
from pathlib import Path
from queue import Empty
from typing import Any

from kombu.transport import TRANSPORT_ALIASES, filesystem
from kombu.utils.json import dumps, loads

log = logging.getLogger("portal.broker")
SCHEME = "folder"


class Channel(filesystem.Channel):
    """Messages as files, whole or not at all."""

    supports_fanout = False

    def _lookup(self, exchange: str, routing_key: str, default: str | None = None) -> list[str]:
        return [routing_key or default or exchange]

    def _put(self, queue: str, payload: Any, **kwargs: Any) -> None:  # type: ignore[override]
        folder = Path(self.data_folder_out)
        name = f"{time.time_ns():020d}_{uuid.uuid4()}.{queue}.msg"
        hidden = folder / f".{name}"
        hidden.write_text(dumps(payload))
        hidden.rename(folder / name)

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        for path in sorted(Path(self.data_folder_in).glob(f"[!.]*.{queue}.msg")):
            mine = path.with_name(f".read-{path.name}")
            try:
                path.rename(mine)  # only one of several workers succeeds
            except FileNotFoundError:
                continue
            text = mine.read_text(errors="replace")
            mine.unlink()
            try:
                return loads(text)
            except ValueError:
                log.warning("a message of %d characters cannot be read: dropped", len(text))
        raise Empty


class Transport(filesystem.Transport):
    Channel = Channel


TRANSPORT_ALIASES[SCHEME] = "portal.broker:Transport"
