"""The Celery application. A message is a doorbell only; see `portal.actions.jobs`."""

from __future__ import annotations

import os
from typing import Any

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")


def configuration() -> dict[str, Any]:
    """Early acknowledgement, no results, one message at a time.

    A message lost with its worker costs nothing, since the sweep rings again; a message
    acknowledged late would start work twice.
    """
    from django.conf import settings

    from portal.broker import SCHEME

    common: dict[str, Any] = {
        "task_acks_late": False,
        "task_ignore_result": True,
        "task_store_errors_even_if_ignored": False,
        "result_backend": None,
        "task_default_queue": "quick",
        "task_create_missing_queues": True,
        "task_publish_retry": False,
        "worker_prefetch_multiplier": 1,
        "worker_hijack_root_logger": False,
        "worker_send_task_events": False,
        "worker_enable_remote_control": False,
        "worker_cancel_long_running_tasks_on_connection_loss": False,
        "broker_connection_retry_on_startup": True,
        "broker_connection_max_retries": None,
        "broker_connection_timeout": 2.0,
        "timezone": "UTC",
    }
    if settings.REDIS_URL:
        return common | {
            "broker_url": settings.REDIS_URL,
            "broker_transport_options": {
                "socket_connect_timeout": 2.0,
                "socket_timeout": 10.0,
                "global_keyprefix": "sidelane:",
            },
        }
    folder = str(settings.BROKER_DIR)
    return common | {
        "broker_url": f"{SCHEME}://localhost//",
        "broker_transport_options": {
            "data_folder_in": folder,
            "data_folder_out": folder,
            "polling_interval": 0.5,
        },
    }


app = Celery("sidelane")
app.add_defaults(configuration)
app.autodiscover_tasks(["portal"])
