"""Django's settings. What a shop sets is in the environment; the rest is the same everywhere.

`LAYFLAT_DATA` names the data folder, `DATABASE_URL` a PostgreSQL database (else SQLite in the data
folder), `LAYFLAT_HOSTS` the host names that the app answers to, by commas, `LAYFLAT_HTTPS=yes`
that it is reached through TLS, `LAYFLAT_PROXY` the web servers before it that say so truly, and
`LAYFLAT_SCHEDULER` a Dask scheduler on another machine, and `LAYFLAT_LAYOUT_S` the seconds that a
layout is searched for.
"""

import os
from importlib import resources
from pathlib import Path
from typing import Any

import dj_database_url
from csp.constants import NONCE, NONE, SELF

from layflat.web.data_folder import DATABASE_FILE, URL_VARIABLE, data_folder, secret_key
from layflat.web.proxies import VARIABLE as PROXY_VARIABLE
from layflat.web.proxies import proxies

HERE = Path(__file__).parent
DATA_FOLDER = data_folder()
FILES_FOLDER = None if DATA_FOLDER is None else DATA_FOLDER / "files"

SECRET_KEY = secret_key(DATA_FOLDER)
DEBUG = False
ALLOWED_HOSTS = os.environ.get("LAYFLAT_HOSTS", "localhost,127.0.0.1,[::1]").split(",")
HTTPS = os.environ.get("LAYFLAT_HTTPS", "") == "yes"
# Whoever is not among them cannot pass off HTTP as HTTPS, nor an address as another.
PROXIES = proxies(os.environ.get(PROXY_VARIABLE, "127.0.0.1,::1" if HTTPS else ""))

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "csp",
    "layflat.web.people",
    "layflat.web.record",
    "layflat.web.files",
    "layflat.web.work",
    "layflat.web.bodies",
    "layflat.web.patterns",
    "layflat.web.corrections",
    "layflat.web.shaping",
    "layflat.web.tracing",
    "layflat.web.scanning",
    "layflat.web.jobs",
    "layflat.web.cover",
    "layflat.web.fit",
    "layflat.web.exchanging",
    "layflat.web.links",
    "layflat.web.offer",
    "layflat.web.taps",
    "layflat.web.stock",
    "layflat.web.gates",
    "layflat.web.cutting",
    "layflat.web.sending",
    "layflat.web.laying",
    "layflat.web.inspection",
    "layflat.web.noting",
    "layflat.web.bay",
    "layflat.web.handback",
    "layflat.web.diary",
    "layflat.web.week",
    "layflat.web.finding",
    "layflat.web.board",
]
MIDDLEWARE = [
    "layflat.web.proxies.SayWhichProxy",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "layflat.web.people.gate.SignInGate",
    "layflat.web.plain_text.RefuseNul",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]
ROOT_URLCONF = "layflat.web.urls"
ASGI_APPLICATION = "layflat.web.asgi.application"
TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [HERE / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "layflat.web.people.shop.shop_context",
            ]
        },
    }
]

_SQLITE = {
    "ENGINE": "django.db.backends.sqlite3",
    "NAME": ":memory:" if DATA_FOLDER is None else str(DATA_FOLDER / DATABASE_FILE),
    # IMMEDIATE: several processes write; with SQLite's default they fail each other as "locked".
    # FULL: what was acknowledged survives a power cut.
    "OPTIONS": {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;",
    },
}
_URL = os.environ.get(URL_VARIABLE, "")
DATABASES: dict[str, Any] = {
    "default": dj_database_url.parse(_URL, conn_max_age=60, conn_health_checks=True)
    if _URL
    else _SQLITE
}
DATABASES["default"]["ATOMIC_REQUESTS"] = False
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "people.Person"
LOGIN_URL = "people:sign-in"
LOGIN_REDIRECT_URL = "board:board"
LOGOUT_REDIRECT_URL = "people:sign-in"
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("name", "shown")},
    },
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]

LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "/static/"
# Typefaces are served from the packages that bring them.
_FONTS = {"sans": "font_source_sans_pro", "serif": "font_source_serif_pro"}
STATICFILES_DIRS: list[Path | tuple[str, Path]] = [
    HERE / "static",
    *(
        (f"vendor/fonts/{name}", Path(str(resources.files(package))) / "files")
        for name, package in _FONTS.items()
    ),
]
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.FileSystemFinder",
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "layflat.web.vendor.VendorFinder",
]
WHITENOISE_USE_FINDERS = True
WHITENOISE_MIMETYPES = {".glb": "model/gltf-binary"}

DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000
FILE_UPLOAD_MAX_MEMORY_SIZE = 2_500_000
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2_000
SCAN_MOST_BYTES = 600_000_000
PANELS_MOST_BYTES = 20_000_000

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        # The nonce is for the import map, which browsers take from the page only; it appears in
        # the policy of pages that have one.
        "script-src": [SELF, NONCE],
        "style-src": [SELF],
        "img-src": [SELF, "blob:", "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "manifest-src": [SELF],
        "worker-src": [SELF],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_AGE = 14 * 24 * 3600
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = HTTPS

# Faults go to stderr; without this Django would mail them to nobody.
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"stderr": {"class": "logging.StreamHandler"}},
    "loggers": {"django": {"handlers": ["stderr"], "level": "ERROR", "propagate": True}},
}

SCHEDULER = os.environ.get("LAYFLAT_SCHEDULER", "")
WORKERS = int(os.environ.get("LAYFLAT_WORKERS", "2"))
# How long the layout of a cover is searched for; None for as long as is usual.
LAYOUT_S = float(os.environ["LAYFLAT_LAYOUT_S"]) if "LAYFLAT_LAYOUT_S" in os.environ else None
# A running computation whose worker gives no sign for so long is taken back. Longer than a write
# may wait for another's in SQLite.
WORK_LOST_S = 25.0
