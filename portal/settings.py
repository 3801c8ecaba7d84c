"""The one settings file. Every knob is an environment variable with a type.

In development (the default) nothing needs to be set: SQLite, a broker in a folder and
mail on the console. With SIDELANE_MODE=production the site refuses to start until what
it needs is named (see `_required`).
"""

from __future__ import annotations

import os
import secrets
import sys
from datetime import timedelta
from pathlib import Path

import environ
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

MODE = env.str("SIDELANE_MODE", default="development")
if MODE not in {"development", "production"}:
    raise ImproperlyConfigured("SIDELANE_MODE must be “development” or “production”")
PRODUCTION = MODE == "production"

DATA_DIR = Path(env.str("SIDELANE_DATA", default=str(BASE_DIR / "var"))).resolve()


def _required(name: str) -> str:
    value = env.str(name, default="")
    if PRODUCTION and not value:
        raise ImproperlyConfigured(
            f"{name} is not set. In production Sidelane does not start without it; "
            "README.md, “Running it for a club”, lists what to set."
        )
    return value


def _kept_secret(name: str) -> str:
    """A secret from the environment; in development made once and kept in the data folder."""
    value = _required(name)
    if value:
        return value
    path = DATA_DIR / name.lower()
    DATA_DIR.mkdir(parents=True, exist_ok=True)
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as new:
            new.write(secrets.token_urlsafe(48))
    except FileExistsError:
        pass
    return path.read_text().strip()


SECRET_KEY = _kept_secret("SECRET_KEY")
AUDIT_KEY = _kept_secret("AUDIT_KEY")  # signs the audit trail; keep it outside the backup
FACTOR_KEY = _kept_secret("FACTOR_KEY")  # encrypts second-factor secrets at rest

DEBUG = env.bool("DEBUG", default=False)
if DEBUG and PRODUCTION:
    raise ImproperlyConfigured("DEBUG is on. Outside development Sidelane does not start with it.")

ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=[])
if PRODUCTION:
    _required("ALLOWED_HOSTS")
else:
    ALLOWED_HOSTS = ALLOWED_HOSTS or ["localhost", "127.0.0.1", "[::1]", "testserver"]
SITE_URL = env.str("SITE_URL", default="http://localhost:8000")
if PRODUCTION:
    _required("SITE_URL")
CSRF_TRUSTED_ORIGINS = env.list("CSRF_TRUSTED_ORIGINS", default=[SITE_URL] if PRODUCTION else [])
TRUSTED_PROXIES = env.int("TRUSTED_PROXIES", default=0)  # how many proxies add X-Forwarded-For

INSTALLED_APPS = [
    "portal.apps.PortalConfig",
    "clinics.apps.ClinicsConfig",
    "feedback.apps.FeedbackConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "django_htmx",
    "csp",
]

MIDDLEWARE = [
    "portal.middleware.RequestIdMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django_permissions_policy.PermissionsPolicyMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "portal.maintenance.MaintenanceMiddleware",
    "django.middleware.common.CommonMiddleware",
    "portal.middleware.OwnOriginMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "allauth.usersessions.middleware.UserSessionsMiddleware",
    "portal.middleware.SignInRequiredMiddleware",
]

ROOT_URLCONF = "portal.urls"
WSGI_APPLICATION = "portal.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "portal.shell.page_shell",
            ]
        },
    }
]

JOINS_PLANNED = 4
"""PostgreSQL's join_collapse_limit. The fence is one question with fifty parts: planned freely that
takes 80 ms, so 4 ms, and answering it less than one."""
DATABASES = {"default": env.db_url("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'sidelane.db'}")}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 30,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;",
    }
else:
    DATABASES["default"].setdefault("OPTIONS", {}).setdefault(
        "options", f"-c join_collapse_limit={JOINS_PLANNED}"
    )
    DATABASES["default"]["CONN_MAX_AGE"] = 60
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# --- people and sign-in -------------------------------------------------------------------
AUTH_USER_MODEL = "portal.User"
AUTHENTICATION_BACKENDS = [
    "django.contrib.auth.backends.ModelBackend",
    "allauth.account.auth_backends.AuthenticationBackend",
]
AUTH_PASSWORD_VALIDATORS: list[dict[str, str]] = []  # nobody has a password
LOGIN_URL = "portal:sign-in"
LOGIN_REDIRECT_URL = "portal:home"
ACCOUNT_ADAPTER = "portal.adapters.AccountAdapter"
MFA_ADAPTER = "portal.adapters.FactorAdapter"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_USER_MODEL_EMAIL_FIELD = "email"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_REAUTHENTICATION_TIMEOUT = 15 * 60
MFA_SUPPORTED_TYPES = ["totp", "webauthn", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_TOTP_ISSUER = "Sidelane"
MFA_TOTP_TOLERANCE = 0
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = not PRODUCTION
USERSESSIONS_TRACK_ACTIVITY = False  # our middleware notes it, every few minutes
SECOND_FACTOR_REQUIRED = env.bool("SECOND_FACTOR_REQUIRED", default=True)
if PRODUCTION and not SECOND_FACTOR_REQUIRED:
    raise ImproperlyConfigured("SECOND_FACTOR_REQUIRED can be off only in development.")
SIGN_IN_CODE_MINUTES = 10
TRIES = 5  # per account and per network address; the next one waits
TRY_WINDOW_MINUTES = 10
FRESH_SIGN_IN_MINUTES = 15
SESSION_ENGINE = "django.contrib.sessions.backends.db"
SESSION_COOKIE_AGE = int(timedelta(days=90).total_seconds())  # absolute limit
SESSION_IDLE_DAYS = env.int("SESSION_IDLE_DAYS", default=30)
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = PRODUCTION
SESSION_COOKIE_NAME = "__Host-session" if PRODUCTION else "session"
CSRF_COOKIE_SECURE = PRODUCTION
CSRF_COOKIE_NAME = "__Host-csrf" if PRODUCTION else "csrf"
CSRF_COOKIE_HTTPONLY = False

# --- what a browser may do ----------------------------------------------------------------
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "no-referrer"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
SECURE_SSL_REDIRECT = PRODUCTION and env.bool("SECURE_SSL_REDIRECT", default=True)
SECURE_HSTS_SECONDS = 31_536_000 if PRODUCTION else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = PRODUCTION
SECURE_HSTS_PRELOAD = PRODUCTION
if PRODUCTION:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "font-src": [SELF],
        "media-src": [SELF, "blob:"],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
PERMISSIONS_POLICY: dict[str, list[str]] = {
    name: []
    for name in (
        "accelerometer autoplay camera display-capture encrypted-media geolocation gyroscope "
        "magnetometer microphone midi payment usb"
    ).split()
} | {
    "fullscreen": ["self"],
    "autoplay": ["self"],
    "screen-wake-lock": ["self"],
    "publickey-credentials-get": ["self"],
    "publickey-credentials-create": ["self"],
}

# --- files ----------------------------------------------------------------------------------
ORIGINALS_DIR = DATA_DIR / "originals"
UPLOADS_DIR = DATA_DIR / "uploads"
WORK_DIR = DATA_DIR / "work"  # same file system as the two below, so that publishing is a rename
MEDIA_ROOT = DATA_DIR / "media"
# What was deleted and withdrawn: outside what a backup copies; keep a copy on another machine.
LEDGER_FILE = Path(env.str("LEDGER_FILE", default=str(DATA_DIR / "ledger" / "deletions.jsonl")))
# The signed head of the audit trail is sent off the machine daily: by mail, or into a folder that
# is copied elsewhere. Against it a cut tail shows (verify_audit --head).
AUDIT_HEAD_TO = env.str("AUDIT_HEAD_TO", default="")
AUDIT_HEAD_DIR = env.str("AUDIT_HEAD_DIR", default="")
MAINTENANCE_FILE = DATA_DIR / "maintenance"  # there while a restore runs
BACKUPS_KEPT_DAYS = env.int("BACKUPS_KEPT_DAYS", default=30)  # what is erased stays in them as long
MEDIA_URL = "/not-served/"  # direct paths are never served; see clinics/views/media.py
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
STATIC_URL = "/static/"
STATIC_ROOT = Path(env.str("STATIC_ROOT", default=str(DATA_DIR / "static")))
WHITENOISE_USE_FINDERS = not PRODUCTION
X_ACCEL = env.bool("X_ACCEL", default=PRODUCTION)  # let nginx send media after the fence was asked
UPLOAD_MAX_BYTES = env.int("UPLOAD_MAX_BYTES", default=64 * 1024**3)
CLUB_QUOTA_BYTES = env.int("CLUB_QUOTA_BYTES", default=300 * 1024**3)
FREE_SPACE_RESERVE_BYTES = env.int("FREE_SPACE_RESERVE_BYTES", default=2 * 1024**3)
UPLOAD_SILENT_S = env.float("UPLOAD_SILENT_S", default=30.0)  # then a mute connection is given up
REQUIRE_SANDBOX = env.bool("REQUIRE_SANDBOX", default=False)
DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024**2
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024**2

# --- background work --------------------------------------------------------------------------
REDIS_URL = env.str("REDIS_URL", default="")
BROKER_DIR = DATA_DIR / "broker"
JOB_LEASE_S = env.float("JOB_LEASE_S", default=30.0)
JOB_HEARTBEAT_S = env.float("JOB_HEARTBEAT_S", default=5.0)
JOB_SWEEP_S = env.float("JOB_SWEEP_S", default=10.0)
JOB_MAX_ATTEMPTS = env.int("JOB_MAX_ATTEMPTS", default=3)
RENDER_PROCESSES = env.int("RENDER_PROCESSES", default=1)
WEB_PROCESSES = env.int("WEB_PROCESSES", default=2)
# Modules with a register_all() of their own: the tests' job kinds. Never in production.
EXTRA_REGISTRATIONS = [] if PRODUCTION else env.list("EXTRA_REGISTRATIONS", default=[])

# --- mail ---------------------------------------------------------------------------------------
EMAIL_CONFIG = env.email_url("EMAIL_URL", default="consolemail://")
vars().update(EMAIL_CONFIG)
if EMAIL_CONFIG["EMAIL_BACKEND"] == "django.core.mail.backends.console.EmailBackend":
    EMAIL_BACKEND = "portal.console_mail.EmailBackend"  # readable, also from a worker
if PRODUCTION:
    _required("EMAIL_URL")
DEFAULT_FROM_EMAIL = env.str("DEFAULT_FROM_EMAIL", default="Sidelane <sidelane@localhost>")

# --- language and time ----------------------------------------------------------------------------
LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("fr", "Français")]
FORMAT_MODULE_PATH = ["portal.formats"]  # 14 November 2026, also in English
LOCALE_PATHS = [BASE_DIR / "portal" / "locale"]
USE_TZ = True
TIME_ZONE = "UTC"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"()": "portal.logs.UtcLineFormatter"}},
    "handlers": {
        "stderr": {
            "class": "logging.StreamHandler",
            "stream": sys.stderr,
            "formatter": "line",
        }
    },
    "root": {"handlers": ["stderr"], "level": env.str("LOG_LEVEL", default="INFO")},
}
