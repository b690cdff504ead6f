"""The site's settings for tests: a folder of their own, plain static files, quick passwords."""

import atexit
import os
import shutil
import tempfile

_folder = tempfile.mkdtemp(prefix="jointworthy-test-")
atexit.register(shutil.rmtree, _folder, ignore_errors=True)

for _name in ("DEBUG", "PUBLIC_URL", "EMAIL_URL", "CELERY_BROKER_URL", "CACHE_URL", "MAIL_FROM"):
    os.environ.pop(_name, None)
os.environ["METRICS_TOKEN"] = "a token for tests alone, long enough"
os.environ["DATA_DIR"] = _folder
os.environ["SECRET_KEY"] = "for tests alone, not a secret, and longer than fifty characters"

from config.settings import *  # noqa: E402, F403
from config.settings import DATA_DIR, DATABASES, STORAGES  # noqa: E402

# A file and not memory, as in the site itself: threads and processes then meet real locks.
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["TEST"] = {"NAME": str(DATA_DIR / "test.sqlite3")}
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
WHITENOISE_AUTOREFRESH = True
WHITENOISE_USE_FINDERS = True
CELERY_TASK_ALWAYS_EAGER = False
