"""The processes that a site with PostgreSQL and Redis is made of, however it is deployed.

`docker-compose.yml` and the units in `deploy/systemd/` start these, by these arguments;
`tests/operations/test_deployment_files.py` holds both against this table. `serve`, which is all of
them in one for a small site, has the clock inside a worker.
"""

_WORKER = ("celery", "--quiet", "-A", "config", "worker", "--loglevel", "WARNING")

PREPARE = ("python", "manage.py", "prepare")
"""Ends once database and static files are what this version needs; before all others."""

SERVED_BY = {
    "web": ("gunicorn", "-c", "python:config.gunicorn"),
    "worker": (*_WORKER, "--queues", "celery"),
    # Apart, so that no work log or photograph holds a reminder up.
    "reminders": (
        *(*_WORKER, "--queues", "reminders"),
        *("--hostname", "reminders@%h", "--concurrency", "2"),
    ),
    # Exactly one, however many workers there are.
    "beat": ("celery", "--quiet", "-A", "config", "beat", "--loglevel", "WARNING"),
}
"""Each process that stays, by its name, with its arguments."""
