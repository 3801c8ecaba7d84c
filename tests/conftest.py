"""What all tests share: a data folder of their own, no way out to the network."""

from __future__ import annotations

import os
import tempfile

os.environ.setdefault("SIDELANE_DATA", tempfile.mkdtemp(prefix="sidelane-tests-"))
os.environ.setdefault("EMAIL_URL", "memorymail://")
os.environ.setdefault("LOG_LEVEL", "WARNING")
