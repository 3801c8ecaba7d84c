"""The Celery application. A message is a doorbell only; see `portal.actions.jobs`."""

from __future__ import annotations

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
app = Celery("sidelane")
