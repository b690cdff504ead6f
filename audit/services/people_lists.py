"""Lists of people that somebody brings: kept while they are matched, and taken in by one act."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from audit.domain.list_columns import suggest
from audit.exceptions import ListChanged, ListRefused, ListTakenIn
from audit.models import PeopleList
from audit.models.people_list import KEPT_FOR
from audit.queries.list_bringers import Bringer
from audit.queries.list_leaving import too_many_of_list
from audit.queries.list_plan import Plan, make_plan
from people.models import User
from people.services.people import lock_people, refuse_last_administrators
from people.services.sign_in_mails import send_password_link
from records.exceptions import Refusal
from records.tables.lists import LONGEST_CELL, clean_cell, read_list

from . import list_steps
from .list_writes import write_plan

LONGEST_NAME = 200


def keep_list(*, name: str, content: bytes, bringer: Bringer, by: User, at: datetime) -> PeopleList:
    """Keep a list as it came, its columns matched as their headings suggest.

    Raises
    ------
    CannotRead
        If it is no list.
    """
    name = "".join(letter for letter in name if letter.isprintable())[-LONGEST_NAME:]
    read = read_list(name, content)
    return PeopleList.objects.create(
        brought_by=by,
        file_name=name,
        sha256=read.sha256,
        encoding=read.encoding,
        row_count=len(read.rows),
        headings=read.headings,
        rows=[[row.line, row.cells] for row in read.rows],
        doubts=[[line, place, why] for (line, place), why in read.doubts.items()],
        columns=suggest(read.headings, bringer.fields),
        expires_at=at + KEPT_FOR,
        recorded_at=at,
    )


@transaction.atomic
def match_columns(*, people_list: PeopleList, columns: Sequence[str]) -> PeopleList:
    """Say what each column holds; what was answered about the list is asked anew."""
    people_list = _lock(people_list)
    people_list.columns, people_list.answers = list(columns), {}
    people_list.save(update_fields=["columns", "answers"])
    return people_list


@transaction.atomic
def answer(
    *,
    people_list: PeopleList,
    answers: Mapping[str, Any],
    cells: Mapping[tuple[int, int], str] | None = None,
    left_out: Sequence[int] = (),
    brought_back: Sequence[int] = (),
) -> PeopleList:
    """Keep what was said of a list, cells that were corrected, and rows that were left out.

    Parameters
    ----------
    answers : mapping
        As `audit.queries.list_plan.answers_of` reads them; what is not among them stays as it was.
    cells : mapping, optional
        By line and place among the columns.
    """
    people_list = _lock(people_list)
    kept = dict(people_list.answers)
    for name, value in answers.items():
        if name in ("chosen", "for_all"):
            kept[name] = _merged(kept.get(name, {}), value)
        else:
            kept[name] = value
    people_list.answers = kept
    corrected = cells or {}
    for line, row in people_list.rows:
        for place in range(len(row)):
            if (line, place) in corrected:
                row[place] = clean_cell(corrected[line, place])[:LONGEST_CELL]
    people_list.doubts = [
        doubt for doubt in people_list.doubts if (doubt[0], doubt[1]) not in corrected
    ]
    lines = {line for line, _cells in people_list.rows}
    out = (set(people_list.left_out) | set(left_out)) - set(brought_back)
    people_list.left_out = sorted(out & lines)
    people_list.save(update_fields=["answers", "rows", "doubts", "left_out"])
    return people_list


def _merged(kept: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, Any]:
    merged = dict(kept)
    for name, value in new.items():
        merged[name] = {**merged.get(name, {}), **value} if isinstance(value, dict) else value
    return merged


def _lock(people_list: PeopleList) -> PeopleList:
    """The list as it is, kept from others; raise ListTakenIn once it is or was taken in."""
    people_list = (
        PeopleList.objects.select_for_update(of=("self",))
        .select_related("brought_by__person__site")
        .get(pk=people_list.pk)
    )
    _refuse_ended(people_list)
    return people_list


def _refuse_ended(people_list: PeopleList) -> None:
    if people_list.taken_in_at is not None:
        raise ListTakenIn(
            _("This list has been taken in already: it was done once, and not again.")
        )
    if people_list.begun_at is not None:
        raise ListTakenIn(_("This list is being taken in."))


def take_in(
    *,
    people_list: PeopleList,
    bringer: Bringer,
    shown: str,
    sign_ins: bool,
    at: datetime,
    many_leave: bool = False,
) -> PeopleList:
    """Do what a list says: all of it or nothing, or a long one by a worker (`list_steps`).

    Parameters
    ----------
    shown : str
        The digest of the plan that its page showed (`audit.queries.list_plan.Plan.digest`).
    sign_ins : bool
        Whether whoever has no sign-in is given one.
    many_leave : bool
        Whether it was said that as many leave as the list gives a last day, where they are many
        (`audit.queries.list_leaving`).

    Raises
    ------
    ListTakenIn
        If it was taken in before: pressed twice, it is done once.
    ListChanged
        If the plan is another by now; nothing was done.
    Refusal
        If a service refuses what the plan did not foresee; nothing was done.
    """
    people_list = PeopleList.objects.get(pk=people_list.pk)
    _refuse_ended(people_list)
    # Read once while nobody waits for it.
    plan = make_plan(people_list, bringer, at)
    _refuse(plan, bringer, shown, sign_ins=sign_ins, many_leave=many_leave, at=at)
    if plan.is_long:
        return _begin(people_list, plan, sign_ins, at)
    try:
        return _take_in(people_list, plan, bringer, sign_ins, at)
    except (ListChanged, ListTakenIn):
        raise
    except IntegrityError as error:
        # Somebody entered the same number, stamp or address at the same moment.
        raise ListChanged(_changed()) from error
    except Refusal as error:
        # Or so shortly before that it came after the plan, and a service found it.
        if make_plan(people_list, bringer, at).digest() == shown:
            raise
        raise ListChanged(_changed()) from error


def _refuse(
    plan: Plan, bringer: Bringer, shown: str, *, sign_ins: bool, many_leave: bool, at: datetime
) -> None:
    """Refuse what is not what was shown, or cannot be done as it stands."""
    if plan.digest() != shown:
        raise ListChanged(_changed())
    if not plan.is_ready:
        raise ListRefused(_("Something of the list is still open: answer it, then go on."))
    if sign_ins and not bringer.people_sites:
        raise ListRefused(_("Sign-ins are opened by administrators."))
    if not many_leave and (many := too_many_of_list(plan, bringer, at)):
        raise ListRefused(
            _(
                "%(leaving)s of %(people)s people would leave, so nothing was done. Look whether "
                "the column is the right one; if they do leave, tick that."
            )
            % {"leaving": many.leaving, "people": many.at_work}
        )


def _refuse_expired(people_list: PeopleList, at: datetime) -> None:
    if people_list.expires_at < at:
        raise ListRefused(_("This list was kept for a week and is over: bring it again."))


@transaction.atomic
def _begin(people_list: PeopleList, plan: Plan, sign_ins: bool, at: datetime) -> PeopleList:
    asked = people_list
    people_list = _lock(people_list)
    _refuse_expired(people_list, at)
    if (people_list.columns, people_list.answers, people_list.left_out, people_list.rows) != (
        asked.columns, asked.answers, asked.left_out, asked.rows,
    ):  # fmt: skip
        raise ListChanged(_changed())
    return list_steps.begin_taking_in(people_list, plan, sign_ins=sign_ins, at=at)


@transaction.atomic
def _take_in(
    people_list: PeopleList, first: Plan, bringer: Bringer, sign_ins: bool, at: datetime
) -> PeopleList:
    people_list = _lock(people_list)
    _refuse_expired(people_list, at)
    # Everybody whom it names, before anything is decided on.
    lock_people([one.person.pk for one in first.people if one.person is not None])
    plan = make_plan(people_list, bringer, at)
    if plan.digest() != first.digest():
        raise ListChanged(_changed())
    # Roles are locked before anything is written down, as whoever gives them does.
    refuse_last_administrators(plan.ending_sooner, at)
    result = write_plan(people_list, plan, bringer, sign_ins=sign_ins, at=at)
    return list_steps.close_taken_in(people_list, result, bringer.actor, at)


def send_links(list_id: int) -> int:
    """Send whoever a list let sign in a link to choose a password; return how many were sent.

    Each is taken off the list before it is sent, by an update that one worker wins: nobody is
    written to twice, and whom a worker that died left out asks for a link on the page to sign in.
    """
    sent = 0
    while (user := _next_to_mail(list_id)) is not None:
        # Who was taken back meanwhile is not written to.
        sent += user.may_sign_in(timezone.now()) and send_password_link(user)
    return sent


def send_due_links() -> int:
    """The same of every list that a lost message left; run by beat."""
    waiting = PeopleList.objects.filter(taken_in_at__isnull=False, links_to_send__gt=0)
    return sum(send_links(pk) for pk in waiting.values_list("pk", flat=True))


@transaction.atomic
def _next_to_mail(list_id: int) -> User | None:
    people_list = PeopleList.objects.select_for_update().filter(pk=list_id).first()
    if people_list is None or not people_list.result.get("to_mail"):
        return None
    pk = people_list.result["to_mail"].pop()
    people_list.links_to_send = len(people_list.result["to_mail"])
    people_list.save(update_fields=["result", "links_to_send"])
    return User.objects.select_related("person__site").get(pk=pk)


def _changed() -> str:
    return _(
        "What this list would do has changed since you were shown it, so nothing was done. Read "
        "it as it is now, then go on."
    )


def forget_expired(at: datetime) -> int:
    """Delete lists that nobody took in, with what they say of anybody; return how many."""
    return PeopleList.objects.out_of_date(at).delete()[0]


@transaction.atomic
def throw_away(*, people_list: PeopleList) -> None:
    """Delete a list that was not taken in."""
    _lock(people_list).delete()
