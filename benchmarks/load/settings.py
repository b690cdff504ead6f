"""The site's settings, with the peers' addresses beside its own."""

from config.settings import *  # noqa: F403

ROOT_URLCONF = "benchmarks.load.urls"
