"""The site's Celery application with a clock that asks for everything every second."""

from datetime import timedelta

from config.celery import app
from operations.services import heartbeats

for entry in app.conf.beat_schedule.values():
    entry["schedule"] = 1.0
# A worker that lost its queue in silence notices within seconds instead of a minute and a half.
heartbeats.HEARTBEAT_INTERVAL = timedelta(seconds=2)
