"""Several windows or people acting in the same instant."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from django.db import connection, connections, transaction

from assessments.exceptions import AssessmentError


def at_once(*acts):
    """Run acts in threads that start together; return what each gave, or its refusal."""
    together = Barrier(len(acts))

    def run(act):
        together.wait()
        try:
            return act()
        except AssessmentError as error:
            return error
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))


def somebody_waits_for_us():
    """Whether another connection to PostgreSQL waits for a row that this one holds."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT 1 FROM pg_locks "
            "WHERE NOT granted AND pg_backend_pid() = ANY(pg_blocking_pids(pid))"
        )
        return cursor.fetchone() is not None


def wait_behind(act, other):
    """Do an act and, before it is done, another that has to wait; return what that came to."""
    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            act()
            waiting = pool.submit(at_once, other)
            while not somebody_waits_for_us():
                assert not waiting.done(), waiting.result()
        [answer] = waiting.result()
    return answer
