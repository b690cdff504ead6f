"""The site as a WSGI application, for gunicorn and any other server."""

import os

from django.core.wsgi import get_wsgi_application

from records.services.site_to_oneself import hold_while_serving

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

application = get_wsgi_application()
# gunicorn's own file does so before it starts its processes; other servers have no such place.
hold_while_serving()
