"""The one task: somebody rang, so look at the queue."""

from __future__ import annotations

import logging
import os
import socket
import threading
from typing import Any

from celery import signals
from django.db import DatabaseError, close_old_connections, connections

from portal.actions import health, job_worker, jobs
from portal.celery import app

log = logging.getLogger("portal.jobs")
_stopping = threading.Event()
_in_hand = threading.Event()


@app.task(name="portal.look", ignore_result=True, acks_late=False)
def look(queue: str) -> int:
    """Work off the queue's waiting rows. Hearing the bell twice finds nothing the second time."""
    close_old_connections()
    _in_hand.set()
    try:
        return job_worker.look(queue, stopping=_stopping.is_set)
    except DatabaseError:
        log.exception("the database cannot be read; the sweep will ring again")
        return 0
    finally:
        _in_hand.clear()
        close_old_connections()


@signals.worker_shutting_down.connect
def _stop_soon(**_: Any) -> None:
    """The job in hand goes back to waiting at its next pulse, its attempt not counted.

    With nothing in hand it ends here: Celery would listen for some seconds more, and a bell
    that it still heard would say nothing that the sweep does not say again.
    """
    _stopping.set()
    if not _in_hand.is_set():
        os._exit(0)


@signals.worker_ready.connect
def _ready(sender: Any = None, **_: Any) -> None:
    """Say "alive" from now on, and look at once at what waited while nobody worked."""
    queues = [queue for queue in sender.app.amqp.queues.consume_from if queue in jobs.QUEUES]
    name = f"{socket.gethostname()[:60]}:{os.getpid()}"
    threading.Thread(target=_say_alive, args=(name, queues), daemon=True).start()
    for queue in queues:
        jobs.ring(queue)


def _say_alive(name: str, queues: list[str]) -> None:
    while True:
        try:
            for queue in queues:
                health.beat(name=f"{name}:{queue}", queue=queue)
        except DatabaseError as problem:
            log.warning("could not say that this worker is alive: %s", problem)
        connections.close_all()
        if _stopping.wait(health.WORKER_BEAT_S):
            return
