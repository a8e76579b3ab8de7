"""All settings, fed from the environment; README lists the variables.

Two modes. `embedded` (the default) is one process on one machine: SQLite, mail
as files, background work in a thread. `served` is a school in earnest:
PostgreSQL, Redis, SMTP, https. What would be unsafe there stops the start.
"""

import contextlib
import os
import secrets
from pathlib import Path

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from environs import Env

BASE_DIR = Path(__file__).resolve().parent.parent
env = Env()

MODE = env.str("SCHOOL_MODE", "embedded")
if MODE not in {"embedded", "served"}:
    raise ImproperlyConfigured("SCHOOL_MODE must be 'embedded' or 'served'")
SERVED = MODE == "served"


def _required(name: str) -> str:
    value = env.str(name, "")
    if not value:
        raise ImproperlyConfigured(
            f"SCHOOL_MODE=served needs {name}; see the table in README.md"
        )
    return value


VAR_DIR = Path(env.str("SCHOOL_VAR", str(BASE_DIR / "var")))
VAR_DIR.mkdir(parents=True, exist_ok=True)


def _embedded_secret() -> str:
    """Read this machine's own secret, made at the first start."""
    path = VAR_DIR / "secret.key"
    if not path.exists():
        part = VAR_DIR / f".secret.{os.getpid()}"
        part.touch(mode=0o600)
        part.write_text(secrets.token_urlsafe(64))
        # A link is all or nothing: of two first starts, one makes the secret
        # and the other reads it, never half of it.
        with contextlib.suppress(FileExistsError):
            path.hardlink_to(part)
        part.unlink()
    return path.read_text()


SECRET_KEY = _required("SECRET_KEY") if SERVED else _embedded_secret()
if SERVED and len(SECRET_KEY) < 50:
    raise ImproperlyConfigured("SECRET_KEY must have at least 50 characters")
DEBUG = False
BASE_URL = _required("BASE_URL") if SERVED else env.str("BASE_URL", "")
BASE_URL = BASE_URL.rstrip("/") or "http://127.0.0.1:8000"
if SERVED and not BASE_URL.startswith("https://"):
    raise ImproperlyConfigured("BASE_URL must begin with https:// in served mode")
ALLOWED_HOSTS = (
    [host.strip() for host in _required("ALLOWED_HOSTS").split(",")]
    if SERVED
    else ["127.0.0.1", "localhost", "[::1]"]
)
if "*" in ALLOWED_HOSTS:
    raise ImproperlyConfigured("ALLOWED_HOSTS must name the hosts, not '*'")
CSRF_TRUSTED_ORIGINS = [BASE_URL] if SERVED else []

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_htmx",
    "csp",
    "rest_framework",
    "exercises",
    "school",
    "scheduling",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "school.web.zone.school_zone_middleware",
    "school.web.far_days.FarDaysMiddleware",
]
ROOT_URLCONF = "school.urls"
WSGI_APPLICATION = "school.wsgi.application"
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
                "school.web.access.navigation",
                "school.web.units.units",
            ]
        },
    }
]

if SERVED:
    _required("DATABASE_URL")
    DATABASES = {"default": env.dj_db_url("DATABASE_URL", conn_max_age=60)}
    if "postgresql" not in DATABASES["default"]["ENGINE"]:
        raise ImproperlyConfigured("DATABASE_URL must name a PostgreSQL database")
else:
    DATABASES = {
        "default": env.dj_db_url(
            "DATABASE_URL", f"sqlite:///{VAR_DIR / 'school.sqlite3'}"
        )
    }
if "sqlite3" in DATABASES["default"]["ENGINE"]:
    # Immediate transactions make a writer wait its turn at the start, where the
    # timeout applies, instead of failing when a reader becomes a writer.
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA synchronous=NORMAL;",
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "school.Account"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator"},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"

LANGUAGE_CODE = "en-gb"
# The languages clients are written to in; pages are in English.
LANGUAGES = [("en", "English"), ("en-gb", "English"), ("de", "Deutsch")]
TIME_ZONE = "UTC"
USE_I18N = True
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = VAR_DIR / "static"
STATIC_ROOT.mkdir(exist_ok=True)
WHITENOISE_USE_FINDERS = not SERVED
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if SERVED
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}

# Photos of trouble at a changeover; served by a view that asks who looks.
PHOTO_DIR = VAR_DIR / "photos"

MAIL_DIR = VAR_DIR / "mail"
if SERVED:
    EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    EMAIL_HOST = _required("EMAIL_HOST")
    EMAIL_PORT = env.int("EMAIL_PORT", 587)
    EMAIL_HOST_USER = env.str("EMAIL_HOST_USER", "")
    EMAIL_HOST_PASSWORD = env.str("EMAIL_HOST_PASSWORD", "")
    EMAIL_USE_TLS = env.bool("EMAIL_USE_TLS", True)
    EMAIL_TIMEOUT = 20
else:
    EMAIL_BACKEND = "school.mailfiles.EmlFileBackend"

# The mailbox of the school's own address, where answers to invites arrive. Where
# mail is piped in instead (`manage.py take_mail`), the host stays empty.
IMAP_HOST = env.str("IMAP_HOST", "")
IMAP_PORT = env.int("IMAP_PORT", 993)
IMAP_USER = env.str("IMAP_USER", "")
IMAP_PASSWORD = env.str("IMAP_PASSWORD", "")
IMAP_FOLDER = env.str("IMAP_FOLDER", "INBOX")
IMAP_TLS = env.bool("IMAP_TLS", True)
if SERVED and IMAP_HOST and not IMAP_TLS:
    raise ImproperlyConfigured("IMAP_TLS must stay on in served mode")
if IMAP_HOST and not (IMAP_USER and IMAP_PASSWORD):
    raise ImproperlyConfigured("IMAP_HOST needs IMAP_USER and IMAP_PASSWORD")
# The name under which the school's own mail server says in Authentication-Results
# whether a sender is proved; empty where it says nothing.
MAIL_AUTHSERV = env.str("MAIL_AUTHSERV", "")

CELERY_BROKER_URL = _required("REDIS_URL") if SERVED else env.str("REDIS_URL", "")
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_SOFT_TIME_LIMIT = 240
CELERY_TASK_TIME_LIMIT = 300
# What is done again and again: by Celery's beat and worker when served, by threads
# beside the web server when embedded. A round that nobody took is not made up for.
CELERY_BEAT_SCHEDULE = {
    "deliver-messages": {
        "task": "school.tasks.deliver_messages",
        "schedule": 30.0 if SERVED else 5.0,
        "options": {"expires": 30},
    },
    "write-reminders": {
        "task": "school.tasks.write_reminders",
        "schedule": 300.0 if SERVED else 60.0,
        "options": {"expires": 300},
    },
    "finish-lessons": {
        "task": "school.tasks.finish_lessons",
        "schedule": 600.0,
        "options": {"expires": 600},
    },
    "carry-out-runs": {
        "task": "scheduling.tasks.carry_out_runs",
        "schedule": 3.0 if SERVED else 1.0,
        "options": {"expires": 3},
    },
    "forget-tables": {
        "task": "school.tasks.forget_tables",
        "schedule": 3600.0,
        "options": {"expires": 3600},
    },
    "forget-photos": {
        "task": "scheduling.tasks.forget_old_photos",
        "schedule": 3600.0,
        "options": {"expires": 3600},
    },
    "lay-out-yard-work": {
        "task": "school.tasks.lay_out_yard_work",
        "schedule": 3600.0,
        "options": {"expires": 3600},
    },
    "lay-out-line-moves": {
        "task": "scheduling.tasks.lay_out_line_moves",
        "schedule": 3600.0,
        "options": {"expires": 3600},
    },
    "read-mailbox": {
        "task": "school.tasks.read_mailbox",
        "schedule": 60.0,
        "options": {"expires": 60},
    },
}

# Counts how often feeds are asked. One process counts in its own memory; several
# count together.
_caches = "django.core.cache.backends"
CACHES = {
    "default": {"BACKEND": f"{_caches}.redis.RedisCache", "LOCATION": CELERY_BROKER_URL}
    if SERVED
    else {
        "BACKEND": f"{_caches}.locmem.LocMemCache",
        "LOCATION": "counts",
    }
}

SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SECURE = SERVED
CSRF_COOKIE_SECURE = SERVED
SECURE_SSL_REDIRECT = SERVED
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if SERVED else None
SECURE_HSTS_SECONDS = 31_536_000 if SERVED else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SERVED
SECURE_HSTS_PRELOAD = SERVED
# Not "no-referrer": browsers would send forms with an origin of null, which the
# check against forged requests refuses. Feeds say "no-referrer" themselves.
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "img-src": [SELF, "data:"],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "rest_framework.authentication.SessionAuthentication"
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "EXCEPTION_HANDLER": "school.api.errors.answer_error",
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"hide_feed_tokens": {"()": "school.logs.HideFeedTokens"}},
    "handlers": {
        "console": {
            "class": "logging.StreamHandler",
            "filters": ["hide_feed_tokens"],
        }
    },
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {
        "django": {"level": "INFO", "handlers": [], "propagate": True},
        "school": {"level": "INFO"},
        "scheduling": {"level": "INFO"},
    },
}
