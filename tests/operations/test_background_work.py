"""Every task ends, and reminders wait behind nothing else, however the processes are started."""

import yaml
from django.conf import settings

from config.celery import REMINDERS, WORK, app
from operations.management.commands.serve import commands


def own_tasks():
    app.loader.import_default_modules()
    return {name: task for name, task in app.tasks.items() if not name.startswith("celery.")}


def test_every_task_is_told_to_end_before_it_is_ended():
    assert len(own_tasks()) >= 9
    for name, task in own_tasks().items():
        soft = task.soft_time_limit or app.conf.task_soft_time_limit
        hard = task.time_limit or app.conf.task_time_limit
        assert soft, name
        assert soft + 30 <= hard <= 3600, name


def test_reminders_go_into_a_queue_of_their_own_and_nothing_else_does():
    for name in own_tasks():
        queue = app.amqp.router.route({}, name)["queue"].name
        assert queue == (REMINDERS if name.startswith("reminders.") else WORK), name


def test_queues_are_bound_apart():
    """A message for one of them must not come into the other as well."""
    queues = app.amqp.queues
    assert {(q.name, q.exchange.name, q.routing_key) for q in queues.values()} == {
        (WORK, WORK, WORK),
        (REMINDERS, REMINDERS, REMINDERS),
    }


def queues_of(command):
    return command[command.index("--queues") + 1]


def test_serve_has_a_worker_for_each_queue_and_one_clock():
    started = [command for command in commands().values() if "worker" in command]
    assert sorted(map(queues_of, started)) == [WORK, REMINDERS]
    assert sum("--beat" in command for command in started) == 1


def test_compose_has_a_worker_for_each_queue_and_one_clock():
    services = yaml.safe_load((settings.BASE_DIR / "docker-compose.yml").read_text())["services"]
    started = [service["command"].split() for service in services.values() if "command" in service]
    workers = [command for command in started if command[:1] == ["celery"] and "worker" in command]
    assert sorted(map(queues_of, workers)) == [WORK, REMINDERS]
    assert sum(command[:1] == ["celery"] and "beat" in command for command in started) == 1
