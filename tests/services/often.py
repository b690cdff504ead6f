"""The site's Celery application with a clock that asks for everything every second."""

from config.celery import app

for entry in app.conf.beat_schedule.values():
    entry["schedule"] = 1.0
