"""The site's settings, for processes whose static files nobody asks for: compressing takes long."""

from config.settings import *  # noqa: F403
from config.settings import STORAGES

STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
