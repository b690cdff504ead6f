"""The site's settings, with the benchmark's address beside its own."""

from config.settings import *  # noqa: F403

ROOT_URLCONF = "benchmarks.judging_urls"
