"""Settings of processes that tests start as machines of their own: those of the site, but quick.

Passwords are those that tests make, and static files need no gathering on each machine.
"""

from config.settings import *  # noqa: F403
from config.settings import STORAGES

STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
WHITENOISE_AUTOREFRESH = True
WHITENOISE_USE_FINDERS = True
