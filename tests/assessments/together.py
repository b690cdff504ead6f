"""Several windows or people acting in the same instant."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from django.db import connections

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
