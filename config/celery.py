"""The Celery application: what runs beside the web process, and when.

The rows in the database are the truth and a message only wakes a worker, so every task
finds what is due by itself, and the periodic ones ask again for what a lost message left.

Reminders have a queue of their own, so that no work log or photograph holds them up; a worker
that is given no queue by name does the work of both. Every task has an end: these limits, or
longer ones that it names where it is defined.
"""

import os

from celery import Celery
from celery.schedules import crontab
from django.conf import settings
from kombu import Exchange, Queue

from operations.backends import folder_queue as broker

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

broker_url = settings.CELERY_BROKER_URL
if broker_url.startswith(f"{broker.SCHEME}:"):
    # Kombu asks for a host, though the folder has no use for one.
    broker_url = f"{broker.SCHEME}://localhost//"
    broker_options = broker.transport_options(settings.QUEUE_DIR)
else:
    # Whoever saved something does not wait for a broker that is away.
    broker_options = {"max_retries": 0, "socket_connect_timeout": 2}

WORK, REMINDERS = "celery", "reminders"
"""The queues; the first has the name that Celery gives to the only one there is."""
SOFT_LIMIT_S, LIMIT_S = 300, 330

app = Celery("jointworthy")
app.conf.update(
    broker_url=broker_url,
    broker_connection_retry_on_startup=True,
    broker_transport_options=broker_options,
    task_default_queue=WORK,
    task_queues=[
        Queue(name, exchange=Exchange(name, type="direct"), routing_key=name)
        for name in (WORK, REMINDERS)
    ],
    task_routes={"reminders.*": {"queue": REMINDERS}},
    task_soft_time_limit=SOFT_LIMIT_S,
    task_time_limit=LIMIT_S,
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    task_ignore_result=True,
    task_publish_retry=False,
    worker_prefetch_multiplier=1,
    worker_concurrency=settings.WORKER_PROCESSES,
    worker_enable_remote_control=False,
    worker_send_task_events=False,
    worker_hijack_root_logger=False,
    accept_content=["json"],
    timezone="UTC",
    beat_schedule_filename=str(settings.DATA_DIR / "beat-schedule"),
    beat_schedule={
        "sweep reminders": {
            "task": "reminders.sweep",
            "schedule": crontab(minute="7"),
        },
        "send due messages": {
            "task": "reminders.send",
            "schedule": crontab(),
            "options": {"expires": 50},
        },
        "send test mails": {
            "task": "reminders.send_trials",
            "schedule": crontab(),
            "options": {"expires": 50},
        },
        "work out registers as they were known": {
            "task": "known_registers.work_out",
            "schedule": crontab(),
            "options": {"expires": 50},
        },
        "throw away old registers as they were known": {
            "task": "known_registers.throw_away_old",
            "schedule": crontab(minute="20", hour="2"),
        },
        "work out plans of classes": {
            "task": "class_plans.work_out",
            "schedule": crontab(),
            "options": {"expires": 50},
        },
        "throw away old plans of classes": {
            "task": "class_plans.throw_away_old",
            "schedule": crontab(minute="22", hour="2"),
        },
        "tell web hooks": {
            "task": "web_hooks.send",
            "schedule": crontab(),
            "options": {"expires": 50},
        },
        "check work logs": {
            "task": "work_logs.check_due",
            "schedule": crontab(),
            "options": {"expires": 50},
        },
        "build evidence packs": {
            "task": "evidence_packs.build_due",
            "schedule": crontab(),
            "options": {"expires": 50},
        },
        "throw away old evidence packs": {
            "task": "evidence_packs.throw_away_old",
            "schedule": crontab(minute="24", hour="2"),
        },
        "send links to those whom a list lets sign in": {
            "task": "people_lists.send_due_links",
            "schedule": crontab(minute="*/5"),
            "options": {"expires": 280},
        },
        "go on with long lists of people": {
            "task": "people_lists.work_due",
            "schedule": crontab(),
            "options": {"expires": 50},
        },
        "forget lists of people that nobody took in": {
            "task": "people_lists.forget_expired",
            "schedule": crontab(minute="25", hour="2"),
        },
        "try the buckets": {
            "task": "site.try_buckets",
            "schedule": crontab(minute="*/5"),
            "options": {"expires": 280},
        },
        "back up database and files": {
            "task": "site.back_up",
            "schedule": crontab(minute="40", hour="1"),
        },
        "remove what is kept no longer": {
            "task": "retention.remove",
            "schedule": crontab(minute="30", hour="1"),
        },
        "move old photographs": {
            "task": "photographs.move_old",
            "schedule": crontab(minute="15", hour="2"),
        },
        "verify the records": {
            "task": "records.verify",
            "schedule": crontab(minute="10", hour="3"),
        },
        "send the end of the trail out of the house": {
            "task": "records.publish_head",
            "schedule": crontab(minute="50", hour="2"),
        },
        "have the end of the trail stamped": {
            "task": "records.stamp_head",
            "schedule": crontab(minute="55", hour="2"),
        },
        "end written tests whose time is over": {
            "task": "written_tests.close_overdue",
            "schedule": crontab(),
            "options": {"expires": 50},
        },
        "make missing renditions": {
            "task": "photographs.make_missing_renditions",
            "schedule": crontab(),
            "options": {"expires": 50},
        },
        "make missing renditions of all photographs": {
            "task": "photographs.make_missing_renditions",
            "schedule": crontab(minute="40", hour="2"),
            "kwargs": {"everywhere": True},
        },
    },
)
app.autodiscover_tasks()
