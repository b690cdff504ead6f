"""Who may see and judge which board and photograph.

A board is read by whoever made it, and by instructors and quality at its site. It is
judged by instructors at its site, never by whoever made it. Criteria are read by
everyone. Unknown and forbidden answer alike.
"""

from collections.abc import Collection
from datetime import date

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _

from people.access import READERS
from people.models import Person, Role, User
from training.models import ClassSession

from .models import (
    Board,
    CannotTell,
    CriteriaSet,
    Criterion,
    Grading,
    Judgement,
    Measurement,
    MeasurementStudy,
    Paper,
    Photo,
    PhotoSetup,
    Question,
    ReadingRequest,
    StageSigning,
    StudyGrader,
    WrittenTest,
)
from .models.boards import BoardQuerySet
from .models.criteria import CriteriaSetQuerySet
from .models.measurement_studies import StudyQuerySet
from .models.photo_setups import SetupQuerySet
from .models.written_tests import PaperQuerySet, WrittenTestQuerySet
from .queries import cannot_tell

PHOTO_COMES_WITH = (
    "board__exercise",
    "board__person",
    "board__site",
    "board__outcome",
    "board__reading_request",
    "joint__position",
    "setup",
)

STUDY_COMES_WITH = ("site", "criterion", "made_by__person", "closing", "withdrawal")


def boards_readable_by(user: User) -> BoardQuerySet:
    return Board.objects.filter(
        Q(person=user.person_id or 0) | Q(site__in=user.sites_as(Role.INSTRUCTOR, Role.QUALITY))
    )


def boards_gradable_by(user: User) -> BoardQuerySet:
    instructs_at = user.roles.filter(role=Role.INSTRUCTOR).values("site")
    return Board.objects.filter(site__in=instructs_at).exclude(person=user.person_id or 0)


def boards_counted_for(user: User) -> BoardQuerySet:
    """Boards judged to the end at the sites where the user teaches or audits: what is counted.

    Of each the user may see what was judged. One whose regrading was asked for is left out for
    everybody until that is signed, so that all count the same.
    """
    return _judged_to_the_end(user).exclude(Exists(_regrading_waits()))


def boards_not_counted_yet(user: User) -> BoardQuerySet:
    """The boards that are left out of them because a regrading of them waits."""
    return _judged_to_the_end(user).filter(Exists(_regrading_waits()))


def boards_of_person_counted_for(user: User, person: Person) -> BoardQuerySet:
    """One person's boards judged to the end, as counted for whoever may read them: them too.

    As everywhere, one whose regrading was asked for is left out until that is signed.
    """
    return (
        boards_readable_by(user)
        .filter(
            pk__in=Board.objects.graded().order_by().values("pk"),
            person=person,
            handed_in_at__isnull=False,
            cancelled_at__isnull=True,
        )
        .exclude(Exists(_regrading_waits()))
    )


def _judged_to_the_end(user: User) -> BoardQuerySet:
    return Board.objects.graded().filter(
        site__in=user.sites_as(*READERS), handed_in_at__isnull=False, cancelled_at__isnull=True
    )


def _regrading_waits() -> QuerySet[ReadingRequest]:
    return ReadingRequest.objects.filter(board=OuterRef("pk"), answered_at__isnull=True)


def boards_of_class(user: User, session: ClassSession, day: date) -> BoardQuerySet:
    """What a class has before it on a day: its people's boards of that day, and those of the
    class that are not judged to the end.

    Boards of the user's own are among them, though not theirs to judge.
    """
    of_class = Q(session=session) & (Q(outcome__isnull=True) | Q(outcome__complete=False))
    of_day = (Q(session=session) | Q(session__isnull=True)) & Q(handed_out_on=day)
    return boards_readable_by(user).filter(
        of_class | of_day,
        site=session.site_id,
        person__in=session.enrolments.values("person"),
        disposed_at__isnull=True,
        cancelled_at__isnull=True,
    )


def board_of_class(user: User, session: ClassSession, day: date, number: str) -> Board:
    """One of those boards that the user may judge."""
    gradable = boards_gradable_by(user).filter(
        pk__in=boards_of_class(user, session, day).values("pk")
    )
    return get_object_or_404(gradable.with_list_columns(), number=number)


def requests_seen_to_by(user: User) -> QuerySet[ReadingRequest]:
    """Requests for another reading that wait at sites where the user is quality, oldest first."""
    return (
        ReadingRequest.objects.filter(
            answered_at__isnull=True, board__site__in=user.sites_as(Role.QUALITY)
        )
        .select_related("board__person", "board__exercise", "board__site")
        .order_by("recorded_at", "board__number")
    )


def board_for_reader(user: User, number: str) -> Board:
    return get_object_or_404(boards_readable_by(user).with_list_columns(), number=number)


def board_for_grader(user: User, number: str) -> Board:
    return get_object_or_404(boards_gradable_by(user).with_list_columns(), number=number)


def next_board_waiting(user: User, board: Board) -> Board | None:
    """The board that has waited longest to be graded by the user, after one that is at hand."""
    if not user.has_role(Role.INSTRUCTOR):
        return None
    waiting = boards_gradable_by(user).waiting().exclude(pk=board.pk)
    return waiting.select_related("person", "exercise").first()


def own_board(user: User, number: str) -> Board:
    """A board of the user's own, which they may judge for themselves, uncounted."""
    return get_object_or_404(
        Board.objects.with_list_columns(), number=number, person=user.person_id or 0
    )


def boards_to_judge(user: User, *, own: bool) -> BoardQuerySet:
    """The boards that the user judges as a grader, or for themselves, uncounted."""
    return Board.objects.filter(person=user.person_id or 0) if own else boards_gradable_by(user)


def boards_to_correct(user: User) -> BoardQuerySet:
    """Boards that the user may cancel or correct the purpose of: those they may judge."""
    return boards_gradable_by(user).with_list_columns()


def board_for_photos(user: User, number: str) -> Board:
    """A board the user may add photographs to: their own, or one they may judge."""
    return get_object_or_404(
        Board.objects.filter(
            Q(person=user.person_id or 0) | Q(site__in=user.sites_as(Role.INSTRUCTOR))
        ).with_list_columns(),
        number=number,
    )


def is_own(user: User, board: Board) -> bool:
    return user.person_id is not None and user.person_id == board.person_id


def may_judge(user: User, board: Board) -> bool:
    """Whether the user judges boards like this one; their own standing is asked elsewhere."""
    return user.has_role(Role.INSTRUCTOR, site=board.site_id) and not is_own(user, board)


def may_add_photos(user: User, board: Board) -> bool:
    return is_own(user, board) or user.has_role(Role.INSTRUCTOR, site=board.site_id)


def may_take_originals(user: User, board: Board) -> bool:
    return user.has_role(Role.INSTRUCTOR, Role.QUALITY, site=board.site_id)


def may_see_outcome(user: User, board: Board) -> bool:
    """Whether the user may see what was judged of a board, its own judgements apart.

    Where two graders judge, nobody sees anything before both have signed and what they
    differ on is decided: whoever could still be the second, or the third, is among the
    readers. While another reading is asked for, whoever may give it sees nothing of the
    former ones.
    """
    if _waits_for_graders(board):
        return False
    request = getattr(board, "reading_request", None)
    if request is None or request.answered_at is not None or not may_judge(user, board):
        return True
    return _has_judged_before(user, board)


def outcomes_closed_to(user: User, numbers: Collection[str]) -> set[str]:
    """Of the boards with these numbers those of which the user may not see what was judged."""
    boards = Board.objects.filter(number__in=numbers).select_related(
        "exercise", "outcome", "reading_request"
    )
    return {board.number for board in boards if not may_see_outcome(user, board)}


def why_outcome_is_closed(board: Board) -> str:
    """The sentence for whoever may not see what was judged of a board yet."""
    if _waits_for_graders(board):
        return _(
            "Two graders judge %(board)s, each without the other’s judgements. Its result is "
            "there once both have signed and what they differ on is decided."
        ) % {"board": board.number}
    return _(
        "A regrading of %(board)s was asked for, and you may give it. What was judged "
        "before stays closed to you until the other reading is signed."
    ) % {"board": board.number}


def _waits_for_graders(board: Board) -> bool:
    """Whether two graders judge a board and have not come to a result yet."""
    outcome = getattr(board, "outcome", None)
    return board.exercise.graders > 1 and (outcome is None or not board_has_result(board))


def board_has_result(board: Board) -> bool:
    """Whether the signatures on a board have come to a result, that may since be reopened."""
    if board.outcome.complete:
        return True
    known = getattr(board, "is_reworked", None)  # Lists ask for all their boards at once.
    return board.joints.filter(make__gt=1).exists() if known is None else known


def _has_judged_before(user: User, board: Board) -> bool:
    """Whether the user signed for a board in another reading than the one that was asked for.

    Whoever gives that one has it half signed for a while, and still sees nothing.
    """
    signed = StageSigning.objects.filter(grading__board=board, grading__grader=user)
    return signed.exclude(grading__kind=Grading.Kind.ANOTHER).exists()


def board_to_decide(user: User, number: str) -> Board:
    """A board on which two graders have signed, for a third person; unknown to the two."""
    return get_object_or_404(
        boards_gradable_by(user)
        .filter(exercise__graders__gt=1)
        .exclude(
            Exists(StageSigning.objects.filter(grading__board=OuterRef("pk"), grading__grader=user))
        )
        .with_list_columns(),
        number=number,
    )


def photo_for_reader(user: User, key: str) -> Photo:
    return get_object_or_404(
        Photo.objects.filter(board__in=boards_readable_by(user)).select_related(*PHOTO_COMES_WITH),
        key=key,
    )


def photo_original_for(user: User, key: str) -> Photo:
    """A photograph whose original file the user may take away: instructors and quality there."""
    return get_object_or_404(
        Photo.objects.filter(
            board__site__in=user.sites_as(Role.INSTRUCTOR, Role.QUALITY)
        ).select_related("board"),
        key=key,
    )


def photo_for_editor(user: User, key: str) -> Photo:
    return get_object_or_404(
        Photo.objects.filter(
            Q(board__person=user.person_id or 0) | Q(board__site__in=user.sites_as(Role.INSTRUCTOR))
        ).select_related(*PHOTO_COMES_WITH),
        key=key,
    )


def measurements_readable_by(user: User, photo: Photo) -> QuerySet[Measurement]:
    """One's own, scales, and what a signature covers; of two graders, once both have signed."""
    signing = StageSigning.objects.filter(grading=OuterRef("grading"), stage=OuterRef("stage"))
    signed = Judgement.objects.filter(Exists(signing), measurement=OuterRef("pk"))
    shown = Q(measured_by=user) | Q(quantity=Measurement.Quantity.SCALE)
    if may_see_outcome(user, photo.board):
        readable = Q(Exists(signed))
        if photo.board.exercise.graders > 1 and not photo.board.outcome.complete:
            # A reworked joint is under two graders' eyes again.
            readable &= Q(joint__isnull=True) | Q(joint__make=1)
        shown |= readable
    return (
        photo.measurements.filter(shown)
        .select_related("photo", "joint__position", "criterion", "measured_by__person")
        .order_by("-recorded_at", "-pk")
    )


def measurement_for_reader(user: User, key: str, measurement_id: int) -> Measurement:
    photo = photo_for_reader(user, key)
    return get_object_or_404(measurements_readable_by(user, photo), pk=measurement_id)


def cannot_tell_visible_to(user: User) -> QuerySet[CannotTell]:
    """What is asked for at boards that the user may photograph, and their own asking.

    Where two graders judge, another instructor may be the second of them and sees nothing of
    it; whoever made the board does.
    """
    instructs_at = user.sites_as(Role.INSTRUCTOR)
    one_grader = Q(grading__board__exercise__graders=1) & ~Q(grading__kind=Grading.Kind.ANOTHER)
    return (
        cannot_tell.still_open()
        .filter(
            Q(grading__grader=user)
            | Q(grading__board__person=user.person_id or 0)
            | one_grader & Q(grading__board__site__in=instructs_at)
        )
        .filter(grading__board__disposed_at__isnull=True)
        .exclude(grading__kind=Grading.Kind.OWN)
        .select_related("grading__board", "joint__position", "criterion", "photo")
    )


def setups_readable_by(user: User) -> SetupQuerySet:
    """Photo set-ups of the sites where the user teaches or audits."""
    return PhotoSetup.objects.filter(site__in=user.sites_as(*READERS))


def setup_for_reader(user: User, setup_id: int) -> PhotoSetup:
    """A set-up that the user may read, and so qualify and retire."""
    return get_object_or_404(
        setups_readable_by(user).select_related("site", "retirement", "declared_by__person"),
        pk=setup_id,
    )


def studies_readable_by(user: User) -> StudyQuerySet:
    """Measurement studies of the sites where the user teaches or audits."""
    return MeasurementStudy.objects.filter(site__in=user.sites_as(*READERS)).select_related(
        *STUDY_COMES_WITH
    )


def study_for_reader(user: User, study_id: int) -> MeasurementStudy:
    return get_object_or_404(studies_readable_by(user), pk=study_id)


def study_with_own_readings(user: User, study_id: int) -> MeasurementStudy:
    """A study that the user reads, or a closed one in which they marked themselves."""
    marked = StudyGrader.objects.filter(study=OuterRef("pk"), user=user)
    readable = Q(site__in=user.sites_as(*READERS)) | (Q(Exists(marked)) & Q(closing__isnull=False))
    return get_object_or_404(
        MeasurementStudy.objects.filter(readable).select_related(*STUDY_COMES_WITH), pk=study_id
    )


def reads_whole_study(user: User, study: MeasurementStudy) -> bool:
    """Whether the user reads what everybody marked, or their own alone."""
    return user.has_role(*READERS, site=study.site_id)


def study_for_grader(user: User, study_id: int) -> tuple[MeasurementStudy, StudyGrader]:
    """A study that the user was asked to mark in, while they teach or audit at its site."""
    study = get_object_or_404(studies_readable_by(user).filter(graders__user=user), pk=study_id)
    return study, study.graders.get(user=user)


def study_for_quality(user: User, study_id: int) -> MeasurementStudy:
    """A study that the user may close or withdraw."""
    return get_object_or_404(
        studies_readable_by(user).filter(site__in=user.sites_as(Role.QUALITY)), pk=study_id
    )


def criteria_sets_readable_by(user: User) -> CriteriaSetQuerySet:
    """Published sets are everyone's to read, retired ones too; drafts those who work on them."""
    if user.has_role(Role.INSTRUCTOR, Role.QUALITY):
        return CriteriaSet.objects.all()
    return CriteriaSet.objects.filter(published_at__isnull=False)


def criteria_set_for_reader(user: User, set_id: int) -> CriteriaSet:
    return get_object_or_404(criteria_sets_readable_by(user), pk=set_id)


def draft_for_editor(user: User, set_id: int) -> CriteriaSet:
    """A set that is not published, for those who draft."""
    drafts = criteria_sets_readable_by(user).drafts()
    return get_object_or_404(drafts, pk=set_id)


def criterion_for_editor(user: User, set_id: int, code: str) -> Criterion:
    """A criterion of a set that is not published, for those who draft."""
    drafts = criteria_sets_readable_by(user).drafts()
    return get_object_or_404(
        Criterion.objects.filter(criteria_set__in=drafts).select_related(
            "criteria_set__begun_from",
            "confirmed_by__person",
            "also_confirmed_by__person",
            "changed_by__person",
        ),
        criteria_set=set_id,
        code=code,
    )


def written_tests_readable_by(user: User) -> WrittenTestQuerySet:
    """The bank: for those who draft, less a test of which they have a paper open themselves."""
    if not user.has_role(*READERS):
        return WrittenTest.objects.none()
    own = Paper.objects.standing().filter(
        person=user.person_id or 0, end__isnull=True, test__code=OuterRef("code")
    )
    return WrittenTest.objects.filter(~Exists(own)).select_related(
        "course_revision__course", "changed_by__person", "published_by__person"
    )


def written_test_for_reader(user: User, test_id: int) -> WrittenTest:
    return get_object_or_404(written_tests_readable_by(user), pk=test_id)


def written_draft_for_editor(user: User, test_id: int) -> WrittenTest:
    """A test that is not published, for those who draft."""
    return get_object_or_404(written_tests_readable_by(user).drafts(), pk=test_id)


def question_for_reader(user: User, test_id: int, code: str) -> Question:
    return get_object_or_404(
        Question.objects.select_related("photo", "lesson", "test"),
        test=written_test_for_reader(user, test_id),
        code=code,
    )


def question_for_editor(user: User, test_id: int, code: str) -> Question:
    return get_object_or_404(
        Question.objects.select_related("photo", "lesson", "test"),
        test=written_draft_for_editor(user, test_id),
        code=code,
    )


def photo_for_question(user: User, key: str) -> Photo | None:
    """A photograph of the sites where the user teaches or audits, to be asked about."""
    photos = Photo.objects.filter(board__site__in=user.sites_as(*READERS))
    return photos.filter(key=key).first()


PAPER_COMES_WITH = (
    "test__course_revision__course",
    "person",
    "site",
    "start",
    "end",
    "withdrawal",
    "handed_out_by__person",
)


def own_papers(user: User) -> PaperQuerySet:
    """Papers that were handed out to the user."""
    return Paper.objects.filter(person=user.person_id or 0).select_related(*PAPER_COMES_WITH)


def own_paper(user: User, number: str) -> Paper:
    return get_object_or_404(own_papers(user), number=number)


def papers_readable_by(user: User) -> PaperQuerySet:
    """Other people's papers, at sites where the user teaches or audits."""
    return (
        Paper.objects.filter(site__in=user.sites_as(*READERS))
        .exclude(person=user.person_id or 0)
        .select_related(*PAPER_COMES_WITH)
    )


def paper_for_page(user: User, number: str) -> Paper:
    """A paper of the user's own, or one at a site where they teach or audit."""
    papers = Paper.objects.filter(
        Q(person=user.person_id or 0) | Q(site__in=user.sites_as(*READERS))
    )
    return get_object_or_404(papers.select_related(*PAPER_COMES_WITH), number=number)


def paper_for_reader(user: User, number: str) -> Paper:
    """Somebody else's paper that the user may withdraw."""
    return get_object_or_404(papers_readable_by(user), number=number)


def paper_for_instructor(user: User, number: str) -> Paper:
    """Somebody else's paper at a site where the user teaches, with what it asks.

    None of a test of which they have a paper open themselves.
    """
    papers = papers_readable_by(user).filter(
        site__in=user.sites_as(Role.INSTRUCTOR),
        test__in=written_tests_readable_by(user).order_by().values("pk"),
    )
    return get_object_or_404(papers, number=number)
