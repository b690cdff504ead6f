"""Who knows what is right in a written test, since they worked on its questions."""

from assessments.models import WrittenTest
from records.domain.kinds import kind_of
from records.models import TrailEntry

from .written_down import TEST_PUBLISHED

DRAFTED = "written test drafted"
CHANGED = "written test draft changed"


def people_who_worked_on(test: WrittenTest) -> set[int]:
    """Who drafted, changed or published any revision of a test, as the trail says, by key.

    A draft keeps only whoever changed it last.
    """
    revisions = WrittenTest.objects.filter(code=test.code).values_list("pk", flat=True)
    entries = TrailEntry.objects.filter(
        about_type=kind_of(WrittenTest.__name__),
        about_id__in=[str(pk) for pk in revisions],
        act__in=(DRAFTED, CHANGED, TEST_PUBLISHED),
        actor__person__isnull=False,
    )
    return set(entries.order_by().values_list("actor__person", flat=True))
