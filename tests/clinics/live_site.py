"""A site of its own: a data folder, a database with the cast, and a real gunicorn on a port."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
SEED = """
import json, pathlib, shutil, sys, django
django.setup()
from django.conf import settings
from django.contrib.auth import login
from django.test import Client
from tests.cast import build_cast, sign_in
from tests.migrated import migrated_database
database = pathlib.Path(settings.DATABASES["default"]["NAME"])
database.parent.mkdir(parents=True, exist_ok=True)
shutil.copy(migrated_database(), database)
cast = build_cast()
client = sign_in(Client(), cast.crew)
session = client.cookies[settings.SESSION_COOKIE_NAME].value
print(json.dumps({
    "session_name": settings.SESSION_COOKIE_NAME, "session": session,
    "csrf_name": settings.CSRF_COOKIE_NAME,
    "station": str(cast.start_side.pk), "clinic": str(cast.clinic.pk),
    "uploads": str(settings.UPLOADS_DIR),
}))
"""


@dataclass
class LiveSite:
    """gunicorn as `serve` starts it, on one process. Call `start`, at the end `stop`."""

    data: Path
    extra: dict[str, str] = field(default_factory=dict)
    port: int = 0
    process: subprocess.Popen[bytes] | None = None
    facts: dict[str, str] = field(default_factory=dict)

    def env(self) -> dict[str, str]:
        own = {"SIDELANE_DATA": str(self.data), "DJANGO_SETTINGS_MODULE": "tests.settings"}
        return os.environ | own | {"LOG_LEVEL": "ERROR"} | self.extra

    def seed(self) -> None:
        done = subprocess.run(
            [sys.executable, "-c", SEED], cwd=ROOT, env=self.env(), capture_output=True, check=False
        )
        assert done.returncode == 0, done.stderr.decode()
        self.facts = json.loads(done.stdout.splitlines()[-1])

    def start(self) -> None:
        if not self.port:
            with socket.create_server(("127.0.0.1", 0)) as free:
                self.port = free.getsockname()[1]
        argv = [sys.executable, "-m", "gunicorn", "portal.wsgi:application"]
        argv += ["--bind", f"127.0.0.1:{self.port}", "--worker-class", "gthread", "--threads", "8"]
        argv += ["--workers", "1", "--log-level", "error"]
        self.process = subprocess.Popen(argv, cwd=ROOT, env=self.env(), start_new_session=True)
        deadline = time.monotonic() + 40
        while time.monotonic() < deadline:
            try:
                connection = self.connect()
                connection.request("GET", "/health/live")
                connection.getresponse().read()
                return
            except OSError:
                time.sleep(0.1)
        raise AssertionError("gunicorn did not answer within 40 s")

    def kill(self) -> None:
        """As a power cut does it: the whole group, at once."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()
        self.process = None

    def stop(self) -> None:
        if self.process is not None:
            self.kill()

    def connect(self) -> http.client.HTTPConnection:
        return http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)

    def headers(self, **more: str) -> dict[str, str]:
        """Signed in, with the CSRF token, speaking tus."""
        token = "c" * 32
        cookies = f"{self.facts['session_name']}={self.facts['session']}; "
        cookies += f"{self.facts['csrf_name']}={token}"
        said = {"Cookie": cookies, "X-CSRFToken": token, "Tus-Resumable": "1.0.0"}
        return said | {name.replace("_", "-"): value for name, value in more.items()}

    def ask(self, method: str, path: str, **headers: str) -> http.client.HTTPResponse:
        connection = self.connect()
        connection.request(method, path, headers=self.headers(**headers))
        response = connection.getresponse()
        response.read()
        connection.close()
        return response
