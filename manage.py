#!/usr/bin/env python
"""The site's command line."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    try:
        from django.conf import settings
        from django.core.exceptions import ImproperlyConfigured
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.exit(
            "Django is not installed here: run `make install`, then `.venv/bin/python manage.py`."
        )
    try:
        settings.INSTALLED_APPS  # noqa: B018 - reads the settings, so that what is wrong is said here
    except ImproperlyConfigured as error:
        sys.exit(f"The site cannot start. {error}")
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
