"""Settings. Everything that differs between machines comes from the environment and fails loudly.

``DATABASE_URL`` and ``REDIS_URL`` alone choose the grown-up shape; without them one SQLite file and one
process do everything.
"""

from __future__ import annotations

import os
from pathlib import Path

import dj_database_url
from django.core.exceptions import ImproperlyConfigured

BASE_DIR = Path(__file__).resolve().parent.parent


def flag(name: str, default: bool = False) -> bool:
    """Read a yes-or-no from the environment; anything else stops the start."""
    value = os.environ.get(name, "").strip().lower()
    if value in {"", "0", "no", "false"}:
        return default if value == "" else False
    if value in {"1", "yes", "true"}:
        return True
    raise ImproperlyConfigured(f"{name} is {value!r}; say yes or no.")


def words(name: str, default: str) -> list[str]:
    """Read a comma-separated list from the environment."""
    return [word.strip() for word in os.environ.get(name, default).split(",") if word.strip()]


def number(name: str, default: int) -> int:
    """Read a whole number above nought from the environment; anything else stops the start."""
    value = os.environ.get(name, "").strip() or str(default)
    if not value.isascii() or not value.isdigit() or int(value) == 0:
        raise ImproperlyConfigured(f"{name} is {value!r}; give a whole number above 0.")
    return int(value)


PRODUCTION = flag("WYTHE_PRODUCTION")
DEBUG = flag("WYTHE_DEBUG") and not PRODUCTION

LOCAL_KEY = "only-for-one-machine-" + "0123456789" * 3
SECRET_KEY = os.environ.get("WYTHE_SECRET_KEY", "" if PRODUCTION else LOCAL_KEY)
if PRODUCTION and (len(SECRET_KEY) < 50 or len(set(SECRET_KEY)) < 10 or SECRET_KEY == LOCAL_KEY):
    raise ImproperlyConfigured("In production WYTHE_SECRET_KEY must be set, to 50 random characters or more.")

ALLOWED_HOSTS = words("WYTHE_HOSTS", "localhost,127.0.0.1,[::1]")
CSRF_TRUSTED_ORIGINS = words("WYTHE_ORIGINS", "")

INSTALLED_APPS = [
    "portfolio",
    "inspections",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.humanize",
    "django.contrib.staticfiles",
    "drf_spectacular",
    "drf_spectacular_sidecar",
]

MIDDLEWARE = [
    "portfolio.middleware.secure_headers",
    "portfolio.middleware.bounded_bodies",
    "portfolio.middleware.pages_alone",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "portfolio.middleware.MustWait",
]

ROOT_URLCONF = "portfolio.urls"
WSGI_APPLICATION = "portfolio.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]

# Databases ---------------------------------------------------------------------------------------------

LOCK_SECONDS = number("WYTHE_LOCK_SECONDS", 20)
DATABASES = {
    "default": dj_database_url.config(
        env="DATABASE_URL",
        default=f"sqlite:///{BASE_DIR / 'wythe.sqlite3'}",
        conn_max_age=60,
        conn_health_checks=True,
    )
}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    # Write-ahead log, writers queue at BEGIN rather than fail half-way, and wait for each other.
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": LOCK_SECONDS,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
    }
else:
    # As on SQLite, nobody waits longer for others than this: a request is then answered with 503.
    DATABASES["default"]["OPTIONS"] = {
        "options": f"-c lock_timeout={LOCK_SECONDS}s",
        **DATABASES["default"].get("OPTIONS", {}),
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# Redis and Celery: without REDIS_URL there is no broker and work is done in the one process ---------------

REDIS_URL = os.environ.get("REDIS_URL", "")
CELERY_BROKER_URL = REDIS_URL or "memory://"
CELERY_RESULT_BACKEND = REDIS_URL or None
CELERY_TASK_ALWAYS_EAGER = not REDIS_URL
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_TIME_LIMIT = 3600
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CACHES = {
    "default": (
        {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": REDIS_URL}
        if REDIS_URL
        else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
    )
}

# What is done in its own time; the schedule itself is in portfolio/celery.py ------------------------------

#: How often mails that are due are looked for; what is dangerous is told after so long at most.
MAIL_SECONDS = number("WYTHE_MAIL_SECONDS", 60)
#: Whoever claimed a mail or a call, and has not said for so long what became of it, is gone.
CLAIM_SECONDS = number("WYTHE_CLAIM_SECONDS", 600)
#: How often it is looked for who has to be told of what.
RAISE_SECONDS = number("WYTHE_RAISE_SECONDS", 300)
LOOK_SECONDS = number("WYTHE_LOOK_SECONDS", 15)
#: Houses looked back on at once, so that a large load's past keeps nothing else waiting.
HOUSES_A_ROUND = 5

# Mail: without EMAIL_HOST nobody is written to -------------------------------------------------------------

EMAIL_HOST = os.environ.get("EMAIL_HOST", "")
EMAIL_PORT = number("EMAIL_PORT", 587)
EMAIL_HOST_USER = os.environ.get("EMAIL_HOST_USER", "")
EMAIL_HOST_PASSWORD = os.environ.get("EMAIL_HOST_PASSWORD", "")
EMAIL_USE_SSL = EMAIL_PORT == 465
EMAIL_USE_TLS = flag("EMAIL_USE_TLS", default=EMAIL_PORT == 587)
EMAIL_TIMEOUT = number("EMAIL_TIMEOUT", 30)
DEFAULT_FROM_EMAIL = os.environ.get("EMAIL_FROM", "")
#: Where the links in mails lead.
SITE_URL = (os.environ.get("WYTHE_URL") or [*CSRF_TRUSTED_ORIGINS, "http://127.0.0.1:8000"][0]).rstrip("/")
if EMAIL_HOST and "@" not in DEFAULT_FROM_EMAIL:
    raise ImproperlyConfigured("EMAIL_HOST is set, so set EMAIL_FROM to the address that mails come from.")

#: Whether webhooks may call addresses that are not public, such as those of this machine or its network.
WEBHOOKS_TO_PRIVATE = flag("WYTHE_WEBHOOKS_TO_PRIVATE")

# People ------------------------------------------------------------------------------------------------

AUTH_USER_MODEL = "portfolio.User"
AUTHENTICATION_BACKENDS = ["portfolio.sign_in.LimitedBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "portfolio"
LOGOUT_REDIRECT_URL = "sign-in"

# Transport ---------------------------------------------------------------------------------------------

SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = PRODUCTION
if PRODUCTION:
    # A browser takes these only over TLS, for every path and from this very host.
    SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = "__Host-sessionid", "__Host-csrftoken"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 3600 * number("WYTHE_SESSION_HOURS", 14 * 24)
SECURE_SSL_REDIRECT = PRODUCTION and not flag("WYTHE_BEHIND_PLAIN_HTTP")
SECURE_HSTS_SECONDS = 31_536_000 if PRODUCTION else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = PRODUCTION
TRUST_PROXY = flag("WYTHE_TRUST_PROXY")
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if TRUST_PROXY else None
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

# Language, time, files --------------------------------------------------------------------------------------

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = False
STATIC_URL = "static/"
STATIC_ROOT = BASE_DIR / "static_collected"
WHITENOISE_USE_FINDERS = WHITENOISE_AUTOREFRESH = not PRODUCTION
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
MEDIA_ROOT = Path(os.environ.get("WYTHE_MEDIA", BASE_DIR / "media"))

# API -----------------------------------------------------------------------------------------------------

API_REQUESTS_A_MINUTE = number("WYTHE_API_REQUESTS_A_MINUTE", 3000)
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "portfolio.api.authentication.TokenAuthentication",
        "portfolio.api.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["portfolio.api.permissions.Members"],
    "DEFAULT_THROTTLE_CLASSES": ["portfolio.api.throttling.RequestsAMinute"],
    "DEFAULT_PAGINATION_CLASS": "portfolio.api.pagination.CursorPages",
    "DEFAULT_FILTER_BACKENDS": ["portfolio.api.filters.StrictFilterBackend"],
    "DEFAULT_RENDERER_CLASSES": [
        "portfolio.api.renderers.Json",
        "portfolio.api.renderers.CsvRenderer",
    ],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "portfolio.api.problems.problem_details",
    "UNAUTHENTICATED_USER": None,
    "COERCE_DECIMAL_TO_STRING": True,
}
SPECTACULAR_SETTINGS = {
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "portfolio.api.schema.without_the_engine_s_limits",
    ],
    "TITLE": "Wythe",
    "DESCRIPTION": "The condition of old masonry basements: records in, verdicts with their evidence out.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "SERVE_AUTHENTICATION": [],
    "SCHEMA_PATH_PREFIX": "/api/v1/",
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "ENUM_NAME_OVERRIDES": {
        "Unit": "inspections.vocabulary.Unit",
        "Verdict": "inspections.vocabulary.Verdict",
        "Hypothesis": "inspections.api.results.HYPOTHESES",
        "Quantity": "inspections.vocabulary.Quantity",
        "Qualifier": "inspections.vocabulary.Qualifier",
        "InstrumentKind": "inspections.vocabulary.InstrumentKind",
        "VisitReason": "inspections.vocabulary.VisitReason",
        "AllocatedBy": "inspections.vocabulary.AllocatedBy",
        "FlagState": "inspections.vocabulary.FlagState",
        "ActionKind": "inspections.vocabulary.ActionKind",
        "PlanReason": "inspections.vocabulary.PlanReason",
        "Subject": "inspections.vocabulary.Subject",
        "Stage": "inspections.vocabulary.Stage",
        "Delivery": "inspections.vocabulary.Delivery",
        "Reach": "inspections.models.telling.REACHES",
        "Role": "portfolio.vocabulary.Role",
        "Adjoins": "portfolio.vocabulary.Adjoins",
        "Beyond": "portfolio.vocabulary.Beyond",
        "Substrate": "portfolio.vocabulary.Substrate",
        "BeddingMortar": "portfolio.vocabulary.BeddingMortar",
        "TreatmentKind": "portfolio.vocabulary.TreatmentKind",
        "Binder": "portfolio.vocabulary.Binder",
        "RemovalReason": "portfolio.vocabulary.RemovalReason",
        "Face": "portfolio.vocabulary.Face",
        "Purpose": "portfolio.vocabulary.Purpose",
        "DrainsTo": "portfolio.vocabulary.DrainsTo",
        "EventKind": "portfolio.vocabulary.EventKind",
        "PaperKind": "portfolio.vocabulary.PaperKind",
        "PaperState": "portfolio.vocabulary.PaperState",
    },
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": os.environ.get("WYTHE_LOG_LEVEL", "WARNING")},
    # Who signed in and who failed to, also where only warnings of other things are wanted.
    "loggers": {"portfolio.sign_in": {"level": "INFO"}},
}
