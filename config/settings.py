"""How Undersky is run. Every setting comes from the environment and has a safe default (config/env.py)."""

from __future__ import annotations

from pathlib import Path

from django.utils.translation import gettext_lazy as _

from . import env

BASE_DIR = Path(__file__).resolve().parent.parent
HOME = env.folder("UNDERSKY_HOME", BASE_DIR / ".undersky")
FIXTURES = BASE_DIR / "fixtures"

DEBUG = env.flag("UNDERSKY_DEBUG", False)
SECRET_KEY = env.secret_key(HOME / "secret_key")
ALLOWED_HOSTS = env.words("UNDERSKY_HOSTS", "127.0.0.1,localhost,[::1]")
CSRF_TRUSTED_ORIGINS = env.words("UNDERSKY_ORIGINS", "")

INSTALLED_APPS = [
    "archive",
    "taggit",
    "django_tasks",
    "django_tasks_db",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "archive.views.middleware.PageHeaders",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "archive.views.middleware.GateMiddleware",
]
ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"
ASGI_APPLICATION = "config.asgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "archive" / "views" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "archive.views.context.house",
            ],
        },
    }
]
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

DATABASES = {"default": env.database("UNDERSKY_DATABASE", HOME)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "archive.Account"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "home"

USE_TZ = True
TIME_ZONE = "UTC"
LANGUAGE_CODE = env.text("UNDERSKY_LANGUAGE", "en")
LANGUAGES = [("en", _("English"))]
LOCALE_PATHS = [BASE_DIR / "archive" / "views" / "locale"]

STATIC_URL = "static/"
STATIC_ROOT = HOME / "static"
STATIC_ROOT.mkdir(mode=0o700, exist_ok=True)
STATICFILES_DIRS = [BASE_DIR / "archive" / "views" / "static"]
WHITENOISE_USE_FINDERS = True

MASTERS = HOME / "masters"
WORKING = HOME / "working"
RENDITIONS = HOME / "renditions"
INDEX = HOME / "index"
# What keeps the search index: files of Whoosh's, or tables of the database where that is PostgreSQL.
SEARCH = env.search_engine("UNDERSKY_SEARCH", DATABASES["default"])
# Work that outlasts a request waits in the database for `manage.py work`, which `serve` and `demo` start.
TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
# Build sound within the request that asks for it (tests), not in the background.
SOUND_AT_ONCE = env.flag("UNDERSKY_SOUND_AT_ONCE", False)

# Uploads go to disk in pieces; nothing larger than this is held in memory.
FILE_UPLOAD_MAX_MEMORY_SIZE = 1 << 20
FILE_UPLOAD_HANDLERS = ["django.core.files.uploadhandler.TemporaryFileUploadHandler"]
FILE_UPLOAD_TEMP_DIR = HOME / "incoming"
FILE_UPLOAD_TEMP_DIR.mkdir(mode=0o700, exist_ok=True)
DATA_UPLOAD_MAX_MEMORY_SIZE = 4 << 20
DATA_UPLOAD_MAX_NUMBER_FIELDS = 10_000  # a page of lines in two languages has five boxes a line
MAX_TRANSCRIPT_BYTES = 32 << 20
MAX_MASTER_BYTES = env.number("UNDERSKY_MAX_MASTER_MB", 20_000, 1, 1_000_000) << 20

TILE_SERVER = env.text("UNDERSKY_TILES")
# A base map of our own host: an MBTiles or PMTiles file of pictures. Everybody who opens the map may see all of it.
TILE_FILE = env.text("UNDERSKY_TILE_FILE")
# A prefix of the front server (nginx: an internal location over the renditions) that is to send sound in our stead.
X_ACCEL = env.text("UNDERSKY_X_ACCEL")
TAGGIT_CASE_INSENSITIVE = True

SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
X_FRAME_OPTIONS = "SAMEORIGIN"
SECURE_CONTENT_TYPE_NOSNIFF = True
# No other site is told an address; our own pages send Origin with a form, which CSRF protection needs.
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
if env.flag("UNDERSKY_HTTPS", False):
    SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = True
    SECURE_SSL_REDIRECT = True
    SECURE_HSTS_SECONDS = 3600
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "handlers": {"console": {"class": "logging.StreamHandler"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
