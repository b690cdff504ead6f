"""All figures of the site as a monitoring program reads them."""

from datetime import datetime

from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest

from operations.queries.metrics import SiteCollector
from operations.services.request_metrics import counted

CONTENT_TYPE = CONTENT_TYPE_LATEST


def as_text(now: datetime) -> bytes:
    """The text format of Prometheus: what the web processes counted, then the site's state."""
    state = CollectorRegistry()
    state.register(SiteCollector(now))
    return generate_latest(counted()) + generate_latest(state)
