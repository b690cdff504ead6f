"""Questions that this app asks of the app above it.

Whether somebody's own standing lets them judge a board is not known here. The app that
knows registers its answer at start; without one nobody may judge.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date, datetime

from django.conf import settings
from django.utils.translation import gettext as _

from people.models import Person, User
from people.queries.languages import in_language
from training.models import Exercise

from .exceptions import AssessmentError
from .models import Board, Paper


@dataclass(frozen=True, slots=True)
class ProposedPurpose:
    """What boards would be for, and the titles of the scopes that they count for."""

    purpose: str
    counts_for: tuple[str, ...] = ()


ProposesPurpose = Callable[[Collection[str], Collection[Person]], ProposedPurpose]
RestsOn = Callable[[Board | Paper], list[str]]
BeforeQualifying = Callable[[Exercise, Collection[Person], date, str], dict[int, str]]
MayGrade = Callable[[User, frozenset[str], date], str]

LoadsContent = Callable[[User | str, datetime], str]

SendsPaperNotes = Callable[[Collection[Paper]], set[int]]

_answer: MayGrade | None = None
_rests_on: RestsOn | None = None
_proposes_purpose: ProposesPurpose | None = None
_before_qualifying: BeforeQualifying | None = None
_send_paper_notes: SendsPaperNotes | None = None
_content_loaders: list[LoadsContent] = []


def register_may_grade(answer: MayGrade | None) -> MayGrade | None:
    """Set who answers; return who answered before.

    ``answer(user, joint_types, day)`` returns an empty text where the user may judge joints
    of all these types on that day, and otherwise the sentence to show them.
    """
    global _answer
    before, _answer = _answer, answer
    return before


def may_grade(*, user: User, board: Board, day: date) -> str:
    """Empty where the user's standing lets them judge the board that day, else why it does not.

    Whether the board is the user's own, and whether they are an instructor where it was
    made, is asked elsewhere.
    """
    if _answer is None:
        return _(
            "Nobody can say here whether you may judge this board, so it stays closed. "
            "Tell your administrator that the register of certificates is not connected."
        )
    joint_types = frozenset(position.joint_type for position in board.exercise.positions.all())
    return _answer(user, joint_types, day)


def register_rests_on(answer: RestsOn | None) -> RestsOn | None:
    """Set who says what rests on a board or a paper; return who did before.

    ``answer(result)`` names every certificate that was issued on it and stands, and every
    proposal on it that is open, in words to show, such as "certificate CA-C-00012".
    """
    global _rests_on
    before, _rests_on = _rests_on, answer
    return before


def what_rests_on(result: Board | Paper) -> list[str]:
    """Certificates and proposals that rest on a board as it was judged, a paper as it was marked.

    Raises
    ------
    AssessmentError
        If nobody can say, so that nothing is changed beneath a certificate unseen.
    """
    if _rests_on is None:
        raise AssessmentError(
            _(
                "Nobody can say here what rests on this board, so it stays as it is. Tell your "
                "administrator that the register of certificates is not connected."
            )
            if isinstance(result, Board)
            else _(
                "Nobody can say here what rests on this paper, so it stays as it is. Tell your "
                "administrator that the register of certificates is not connected."
            )
        )
    return _rests_on(result)


def what_rests_on_as_kept(result: Board | Paper) -> list[str]:
    """The same as the trail says it: in the site's language, whoever acts."""
    with in_language(settings.LANGUAGE_CODE):
        return what_rests_on(result)


def register_purpose(answer: ProposesPurpose | None) -> ProposesPurpose | None:
    """Set who proposes what boards are for; return who did before.

    ``answer(exercise_codes, people)`` says what boards of these exercises lead to for these
    people, by the schemes in force.
    """
    global _proposes_purpose
    before, _proposes_purpose = _proposes_purpose, answer
    return before


def proposed_purpose(
    exercise_codes: Collection[str], people: Collection[Person]
) -> ProposedPurpose:
    """What to propose; no purpose where nobody knows what boards lead to, so somebody chooses."""
    if _proposes_purpose is None:
        return ProposedPurpose("")
    return _proposes_purpose(exercise_codes, people)


def register_before_qualifying(answer: BeforeQualifying | None) -> BeforeQualifying | None:
    """Set who says what comes before a board for qualification; return who did before.

    ``answer(exercise, people, day, leaving)`` returns, by the keys of those of the people who may
    not begin one that day, the sentence that names them and says what comes first. ``leaving`` is
    the number of a board that is left aside, since it is the one asked about; empty for none.
    """
    global _before_qualifying
    before, _before_qualifying = _before_qualifying, answer
    return before


def before_qualifying(
    exercise: Exercise, people: Collection[Person], day: date, leaving: str = ""
) -> dict[int, str]:
    """Who may not begin a board for qualification that day, and why, by their keys.

    Raises
    ------
    AssessmentError
        If nobody can say, so that no rule of a scheme is passed over unseen.
    """
    if _before_qualifying is None:
        raise AssessmentError(
            _(
                "Nobody can say here what comes before a board for qualification, so none is "
                "handed out. Tell your administrator that the register of certificates is not "
                "connected."
            )
        )
    return _before_qualifying(exercise, people, day, leaving)


def register_content(load: LoadsContent) -> None:
    """Have more content to begin with loaded beside exercises, courses and criteria.

    ``load(actor, at)`` adds what is not there yet, in the current transaction, and returns a
    sentence that says what it did.
    """
    if load not in _content_loaders:
        _content_loaders.append(load)


def load_more_content(*, actor: User | str, at: datetime) -> list[str]:
    """Load what higher apps bring along; return what each says of it."""
    return [load(actor, at) for load in _content_loaders]


def register_send_paper_notes(provider: SendsPaperNotes | None) -> SendsPaperNotes | None:
    """Set who writes to people that a written test is handed out to them; return who did before."""
    global _send_paper_notes
    previous, _send_paper_notes = _send_paper_notes, provider
    return previous


def send_paper_notes(papers: Collection[Paper]) -> set[int]:
    """Have people told by mail of their papers, in the current transaction.

    Returns
    -------
    set of int
        Keys of the papers of which a mail goes out; the others' people have no address.
    """
    return _send_paper_notes(papers) if _send_paper_notes is not None else set()
