"""Settings, addresses, the Celery application and how it is served."""

import gc

# Every process imports this first. Starting makes a million objects that stay, and Python would
# look through them again and again: a fifth of the time until a process is ready.
gc.set_threshold(10_000, 20, 50)
