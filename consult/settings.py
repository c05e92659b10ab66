"""All settings in one place, read from the environment; an odd value stops the start with a word.

Two ways to run:

* one machine: nothing is set. SQLite and files live under ``var/``, the secret key is made once and
  kept there, only the loopback names are served, and ``manage.py serve`` brings its own Redis.
* a practice's servers: DATABASE_URL, REDIS_URL or ALLOWED_HOSTS is set. Then SECRET_KEY and
  ALLOWED_HOSTS are required, DEBUG is refused and cookies travel over HTTPS only.
"""

import os
import ssl
import sys
import tempfile
from pathlib import Path
from typing import Any

import environ
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _

from consult.environment import check_redis, keep_private, kept_secret_key, require, site_url

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(os.environ.get("EBBMARK_VAR", BASE_DIR / "var"))
os.umask(0o077)  # what any process of the site writes is its owner's alone
VAR_DIR.mkdir(parents=True, exist_ok=True)

env = environ.Env()


def _flag(name: str, default: bool) -> bool:
    value = os.environ.get(name, "")
    known = {"": default, "1": True, "true": True, "yes": True, "on": True}
    known |= {"0": False, "false": False, "no": False, "off": False}
    if value.strip().lower() not in known:
        raise ImproperlyConfigured(f"{name}={value!r}: expected true or false.")
    return known[value.strip().lower()]


def _number(name: str, default: float) -> float:
    value = os.environ.get(name, "")
    try:
        number = float(value) if value else float(default)
    except ValueError:
        number = 0.0
    if not 0 < number < 1e9:
        raise ImproperlyConfigured(f"{name}={value!r}: expected a number above 0.")
    return number


def _url(name: str, default: str, schemes: tuple[str, ...]) -> str:
    value = os.environ.get(name, "") or default
    if value and value.split(":", 1)[0] not in schemes:
        allowed = ", ".join(schemes)
        raise ImproperlyConfigured(
            f"{name} begins with {value.split(':', 1)[0]!r}; allowed: {allowed}."
        )
    return value


keep_private(VAR_DIR)
LOOPBACK = ["localhost", "127.0.0.1", "[::1]"]
ONE_MACHINE = not any(
    os.environ.get(name) for name in ("DATABASE_URL", "REDIS_URL", "ALLOWED_HOSTS")
)
DEBUG = _flag("DEBUG", default=False)
if ONE_MACHINE:
    SECRET_KEY = os.environ.get("SECRET_KEY") or kept_secret_key(VAR_DIR / "secret_key")
    ALLOWED_HOSTS = LOOPBACK
else:
    SECRET_KEY = os.environ.get("SECRET_KEY", "")
    ALLOWED_HOSTS = [
        host.strip() for host in os.environ.get("ALLOWED_HOSTS", "").split(",") if host.strip()
    ]
    if len(SECRET_KEY) < 32:
        raise ImproperlyConfigured("SECRET_KEY is missing or shorter than 32 characters.")
    if not ALLOWED_HOSTS or "*" in ALLOWED_HOSTS:
        raise ImproperlyConfigured("ALLOWED_HOSTS must name the hosts of this site, not '*'.")
    if DEBUG:
        raise ImproperlyConfigured("DEBUG=true is refused when DATABASE_URL, REDIS_URL or "
                                   "ALLOWED_HOSTS is set.")  # fmt: skip
    require("SITE_URL", "EMAIL_URL")
HTTPS = _flag("HTTPS", default=not ONE_MACHINE)
# Where the site is reached. Links in mails begin with it, whatever a request claims to have asked.
_site = _url("SITE_URL", "http://localhost:8000", ("https",) if HTTPS else ("http", "https"))
SITE_URL = site_url(_site, allowed_hosts=ALLOWED_HOSTS)

# -- Database ---------------------------------------------------------------------------------

DATABASE_URL = _url(
    "DATABASE_URL",
    f"sqlite:///{VAR_DIR / 'ebbmark.sqlite3'}",
    ("sqlite", "postgres", "postgresql", "psql"),
)
DATABASES: dict[str, dict[str, Any]] = {"default": env.db_url_config(DATABASE_URL)}
_database = DATABASES["default"]
_database["CONN_MAX_AGE"] = None
if _database["ENGINE"].endswith("sqlite3"):
    for _ending in ("", "-wal", "-shm"):
        keep_private(Path(f"{_database['NAME']}{_ending}"))
    _database["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": (
            "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;"
            "PRAGMA recursive_triggers=ON;"  # or INSERT OR REPLACE would pass by the guards
            "PRAGMA secure_delete=ON;"  # what is erased does not lie on in the file's free pages
        ),
    }
    # The test suite works on a file: locks and workers need one.
    _database["TEST"] = {
        "NAME": str(Path(tempfile.gettempdir()) / f"ebbmark-test-{os.getpid()}.sqlite3")
    }
# The folder of pg_dump, pg_restore and psql, where PATH does not lead to them.
PG_BIN = os.environ.get("PG_BIN", "")
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
# For counts of guesses and requests and for used codes alone: anything else would be in their way.
# In the database, so that every web process counts there, and a restart forgets nothing.
CACHES = {
    "default": {
        "BACKEND": "consult.services.guesses.LastingCache",
        "LOCATION": "shared_cache",
    }
}

# -- Applications -----------------------------------------------------------------------------

INSTALLED_APPS = [
    "consult",
    "surveys",
    "mitigation",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "django_htmx",
    "simple_history",
    "template_partials",
    "csp",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "consult.middleware.ZeroByteMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "consult.middleware.OwnLanguageMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "consult.middleware.IdleMiddleware",
    "consult.middleware.BodyLimitMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "csp.middleware.CSPMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "allauth.usersessions.middleware.UserSessionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "simple_history.middleware.HistoryRequestMiddleware",
    "consult.middleware.LogInAgainMiddleware",
    "consult.middleware.SecondFactorMiddleware",
    "consult.middleware.PrivatePagesMiddleware",
    "consult.middleware.WrongMethodMiddleware",
]
ROOT_URLCONF = "consult.urls"
WSGI_APPLICATION = "consult.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "consult.views.context.practice",
            ],
        },
    }
]

# -- People -----------------------------------------------------------------------------------

AUTH_USER_MODEL = "consult.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("email", "name")},
    },
    {
        # ASVS 5.0, 6.2.1: 8 at least, 15 strongly recommended.
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    },
    {"NAME": "consult.services.passwords.GuessableValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
# After so many minutes without a request that somebody made, a log-in ends. Those in the field have
# a phone in their pocket.
IDLE_MINUTES = {"office": 30, "assessor": 12 * 60, "electrician": 12 * 60, "client": 2 * 60}
ACCOUNT_ADAPTER = "consult.adapters.ClosedAccountAdapter"
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_LOGOUT_ON_GET = False
ACCOUNT_SESSION_REMEMBER = False
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
ACCOUNT_EMAIL_NOTIFICATIONS = True
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False  # nobody lets the practice write to strangers
# Guesses at a log-in are counted by consult/services/guesses.py instead.
ACCOUNT_RATE_LIMITS = {"login": None, "login_failed": None}
ACCOUNT_FORMS = {"reset_password": "consult.forms.log_in.ResetForm"}
MFA_FORMS = {
    "authenticate": "consult.forms.second_factor.CodeForm",
    "reauthenticate": "consult.forms.second_factor.CodeAgainForm",
    "activate_totp": "consult.forms.second_factor.NewAppForm",
}
MFA_SUPPORTED_TYPES = ["totp", "webauthn", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_WEBAUTHN_USER_VERIFICATION = "required"
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = ONE_MACHINE
MFA_TOTP_ISSUER = "Ebbmark"
MFA_ALLOW_UNVERIFIED_EMAIL = True  # the office enters e-mails, nobody adds one
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "home"

# -- Language and time ------------------------------------------------------------------------

LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English")), ("de", _("German"))]
LOCALE_PATHS = [BASE_DIR / "consult" / "locale"]
TIME_ZONE = os.environ.get("TIME_ZONE", "UTC")
USE_TZ = True

# -- Files ------------------------------------------------------------------------------------

STATIC_URL = "static/"
STATIC_ROOT = VAR_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)
# Kept files hold people's data: no URL serves this folder, views hand files out one by one.
MEDIA_ROOT = Path(os.environ.get("MEDIA_ROOT") or VAR_DIR / "files")
STORAGES = {
    "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"file_permissions_mode": 0o600, "directory_permissions_mode": 0o700},
    },
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedStaticFilesStorage"},
}

# -- People's data ----------------------------------------------------------------------------
# What each app says of people's data; a table stands after those that it hangs on.

PRIVACY_MODULES = [
    "consult.services.privacy.practice",
    "surveys.services.privacy",
    "mitigation.services.privacy",
    "consult.services.privacy.traces",
]
# Beside the database and not in its backups: it says which erasures a restored one lacks.
ERASURE_LEDGER = Path(os.environ.get("ERASURE_LEDGER") or VAR_DIR / "erasures.jsonl")
DAILY_CLEARING = _flag("DAILY_CLEARING", default=True)

# -- Mail -------------------------------------------------------------------------------------

EMAIL_URL = _url(
    "EMAIL_URL",
    "consolemail://",
    ("smtp", "smtps", "smtp+tls", "smtp+ssl", "consolemail", "filemail", "memorymail", "dummymail"),
)
vars().update(env.email_url_config(EMAIL_URL))
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = os.environ.get("DEFAULT_FROM_EMAIL", "ebbmark@localhost")

# -- Jobs -------------------------------------------------------------------------------------
# A job is a row; Celery carries its id and nothing else, so the broker may forget everything.
# Limits: soft < hard limit of one attempt < lease of the row < visibility timeout of the message.

REDIS_URL = _url("REDIS_URL", "", ("redis", "rediss", "unix", "redis+socket"))
# Set by `serve` for its own children: the socket of the Redis that it started.
PRIVATE_REDIS_SOCKET = os.environ.get("PRIVATE_REDIS_SOCKET", "")
JOB_SOFT_TIME_LIMIT_S = _number("JOB_SOFT_TIME_LIMIT_S", 50)
JOB_HARD_TIME_LIMIT_S = _number("JOB_HARD_TIME_LIMIT_S", 60)
JOB_LEASE_S = _number("JOB_LEASE_S", 90)
JOB_SWEEP_S = _number("JOB_SWEEP_S", 2)
JOB_BACKOFF_S = _number("JOB_BACKOFF_S", 5)
JOB_VISIBILITY_TIMEOUT_S = 300
JOB_MAX_ATTEMPTS = 5
JOB_MEMORY_MB = _number("JOB_MEMORY_MB", 1024)
if not (JOB_SOFT_TIME_LIMIT_S < JOB_HARD_TIME_LIMIT_S < JOB_LEASE_S < JOB_VISIBILITY_TIMEOUT_S):
    raise ImproperlyConfigured(
        "JOB_SOFT_TIME_LIMIT_S < JOB_HARD_TIME_LIMIT_S < JOB_LEASE_S < "
        f"{JOB_VISIBILITY_TIMEOUT_S} is required."
    )

check_redis(REDIS_URL)
if REDIS_URL.startswith("rediss:"):
    CELERY_BROKER_USE_SSL = {"ssl_cert_reqs": ssl.CERT_REQUIRED}
CELERY_BROKER_URL = (
    f"redis+socket://{PRIVATE_REDIS_SOCKET}?virtual_host=0"
    if PRIVATE_REDIS_SOCKET
    else REDIS_URL.replace("unix://", "redis+socket://", 1)
)
CELERY_BROKER_CONNECTION_TIMEOUT = 1
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {
    "visibility_timeout": JOB_VISIBILITY_TIMEOUT_S,
    "unacked_restore_interval": 1,
    "unacked_restore_throttle": 1,
    # Nobody waits for a broker that is down: the sweep sends the hint again.
    "socket_connect_timeout": 1,
    "socket_timeout": 2,
    "max_retries": 0,
}
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_SOFT_TIME_LIMIT = JOB_SOFT_TIME_LIMIT_S
CELERY_TASK_TIME_LIMIT = JOB_HARD_TIME_LIMIT_S
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_CANCEL_LONG_RUNNING_TASKS_ON_CONNECTION_LOSS = False
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_WORKER_MAX_TASKS_PER_CHILD = 1000
CELERY_WORKER_SEND_TASK_EVENTS = False
# Who reaches the broker could stop the workers by it, and read their settings.
CELERY_WORKER_ENABLE_REMOTE_CONTROL = False
CELERY_TIMEZONE = TIME_ZONE

# -- Security ---------------------------------------------------------------------------------

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
# A browser takes a cookie of such a name over HTTPS alone, for this very host and all of its paths.
_HOST = "__Host-" if HTTPS else ""
SESSION_COOKIE_NAME = f"{_HOST}sessionid"
CSRF_COOKIE_NAME = f"{_HOST}csrftoken"
DEVICE_COOKIE_NAME = f"{_HOST}ebbmark_device"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
BEHIND_PROXY = _flag("BEHIND_PROXY", default=False)
if BEHIND_PROXY:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    ALLAUTH_TRUSTED_PROXY_COUNT = 1  # rate limits count the caller, not the proxy
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_621_440
FILE_UPLOAD_MAX_MEMORY_SIZE = 2_621_440

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "%(asctime)s %(levelname)s %(name)s: %(message)s"}},
    "filters": {"tokens": {"()": "consult.logs.TokenFilter"}},
    "handlers": {
        "stderr": {
            "class": "logging.StreamHandler",
            "stream": sys.stderr,
            "formatter": "line",
            "filters": ["tokens"],
        }
    },
    "loggers": {"waitress.queue": {"level": "ERROR"}},  # a request that waits a moment is no news
    "root": {"handlers": ["stderr"], "level": os.environ.get("LOG_LEVEL", "WARNING")},
}
