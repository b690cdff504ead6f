"""The nightly file of people by command: what it says, does, and never does at once."""

import json
from datetime import date
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.utils import timezone

from audit.domain.list_rows import Answers
from audit.exceptions import ListRefused, ListStopped
from audit.queries.list_bringers import all_sites, program
from audit.services import nightly_people
from people.models import Person, Role, User
from people.services.erasing import erase_person
from people.services.people import change_person
from people.services.returns import return_person
from records.models import TrailEntry, TrailHead
from records.queries.verification import verify_records
from records.tables.lists import read_list
from tests.assessments.together import at_once
from tests.factories import make_person, make_site, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "people.csv"

    def write(text):
        path.write_text(text)
        return path

    return write


def run(path, *options):
    told, wrong = StringIO(), StringIO()
    try:
        call_command("import_people", path, *options, stdout=told, stderr=wrong)
    except CommandError as error:
        wrong.write(str(error))
    return told.getvalue(), wrong.getvalue()


def staff(count, **fields):
    return [make_person(make_site(), **fields) for _each in range(count)]


def listed(*people, more=""):
    rows = "".join(f"{person.employee_number},{person.full_name}\n" for person in people)
    return f"Number,Name\n{rows}{more}"


def test_dry_run_says_who_is_new_changed_and_missing_and_writes_nothing(file):
    one, two, three = staff(3)
    text = listed(one, more=f"{two.employee_number},Bo Newname\n7001,Ada\n")
    told, wrong = run(file(text))
    assert told.splitlines() == [
        f"changed: {two.employee_number} Bo Newname: full_name",
        "new: 7001 Ada",
        f"not in the file: {three.employee_number} {three.full_name}",
        "1 new, 1 changed, 1 left alone, 1 of 3 not in the file.",
        "Nothing was written: that takes --write.",
    ]
    assert wrong == ""
    assert Person.objects.count() == 3


def test_written_it_is_in_the_trail_and_nobody_leaves_unless_told(file):
    people = staff(3)
    path = file(listed(*people[:2], more="7001,Ada\n"))
    told, wrong = run(path, "--write")
    assert (told.splitlines()[-1], wrong) == ("Done.", "")
    assert not Person.objects.filter(left_on__isnull=False).exists()
    assert set(TrailEntry.objects.values_list("act", "actor_label")) == {
        ("person enrolled", "import_people"),
        ("file of people taken in", "import_people"),
    }
    run(path, "--write", "--leave")
    people[2].refresh_from_db()
    assert people[2].left_on == people[2].site.today(timezone.now())


def test_no_more_than_a_share_leaves_at_once(file):
    people = staff(40)
    path = file(listed(*people[:37]))
    _told, wrong = run(path, "--write", "--leave")
    assert "3 of 40 people would leave, and at most 2 may at once" in wrong
    assert "--most-leaving" in wrong
    assert wrong in run(path, "--leave")[1]  # Said before it is written, too.
    assert not Person.objects.filter(left_on__isnull=False).exists()
    run(path, "--write", "--leave", "--most-leaving", "8")
    assert Person.objects.filter(left_on__isnull=False).count() == 3


def test_last_days_in_the_file_count_as_leaving(file):
    people = staff(40)
    rows = "".join(f"{one.employee_number},2026-01-31\n" for one in people)
    path = file("Number,Last day\n" + rows)
    _told, wrong = run(path, "--write")
    assert "40 of 40 people would leave, and at most 2 may at once" in wrong
    assert not Person.objects.filter(left_on__isnull=False).exists()
    told, _wrong = run(path, "--write", "--most-leaving", "100")
    assert told.count("last day given") == 40
    assert Person.objects.filter(left_on=date(2026, 1, 31)).count() == 40
    assert run(path, "--write")[0].splitlines()[-1] == "Done."  # Nobody leaves twice.


def test_file_of_somebody_else_alone_ends_nobody(file):
    staff(1)
    assert "1 of 1 people would leave" in run(file("Number,Name\n7001,Ada\n"), "--leave")[1]


@pytest.mark.parametrize("how", ["absent", "last day"])
def test_last_who_administers_leaves_by_no_file(file, how):
    people = staff(40)
    administrator = make_user(Role.ADMINISTRATOR, person=people[0])
    # Whoever has a last day, or cannot sign in, lets nobody in later.
    make_user(Role.ADMINISTRATOR, person=make_person(people[0].site, left_on=date(2199, 1, 1)))
    make_user(Role.ADMINISTRATOR, person=people[1], is_active=False)
    text = listed(*people[1:])
    if how == "last day":
        text = f"Number,Last day\n{people[0].employee_number},2199-01-01\n"
    path = file(text)
    options = ("--write", "--leave") if how == "absent" else ("--write",)
    _told, wrong = run(path, *options)
    assert "Nobody would be left who administers" in wrong
    assert administrator.person.full_name in wrong
    people[0].refresh_from_db()
    assert people[0].left_on is None
    make_user(Role.ADMINISTRATOR, person=people[2])
    assert run(path, *options)[0].splitlines()[-1] == "Done."


def test_contractors_other_sites_and_whoever_leaves_anyway_are_not_missed(file):
    own = staff(1)
    staff(1, kind=Person.Kind.CONTRACTOR, employer="Temps")
    make_person(make_site("Other", "OT"))
    staff(1, left_on=date(2199, 1, 1))
    told, _wrong = run(file(listed(*own)), "--site", "CA")
    assert "0 of 1 not in the file" in told


def test_wrong_row_refuses_all_or_is_left_out_and_its_person_is_not_missed(file):
    one, two = staff(2)
    text = f"Number,Name,Start date\n{one.employee_number},Bo,3.4.26\n7001,Ada,2.1.2020\n"
    path = file(text + f"{two.employee_number},,\n")
    _told, wrong = run(path, "--write")
    assert "two digits" in wrong
    assert not Person.objects.filter(employee_number="7001").exists()
    told, wrong = run(path, "--write", "--leave", "--good-rows")
    assert told.splitlines()[-2:] == [
        "1 new, 0 changed, 1 left alone, 0 of 2 not in the file.",
        "Done.",
    ]
    assert "line 2: First day here" in wrong


def test_columns_and_what_a_file_leaves_open_are_said_with_it(file):
    make_site()
    make_site("Other", "OT")
    path = file('Nummer im Werk,Wer,Start date\n7001,"Byrne, Ada",3/4/2026\n')
    assert "employee number" in run(path)[1]
    columns = ("--column", "Nummer im Werk=employee_number", "--column", "Wer=full_name")
    wrong = run(path, *columns)[1]
    for asked in ("site", "3/4/2026", "Byrne, Ada"):
        assert asked in wrong
    said = ("--site", "OT", "--days", "day_first", "--names", "turn")
    run(path, *columns, *said, "--write")
    ada = Person.objects.get(employee_number="7001")
    assert (ada.full_name, ada.site.prefix, ada.started_on) == ("Ada Byrne", "OT", date(2026, 4, 3))


def test_address_of_a_sign_in_is_changed_at_the_terminal_and_told(
    file, mailoutbox, django_capture_on_commit_callbacks
):
    user = make_user(Role.ADMINISTRATOR, site=make_site(), email="old@example.org")
    Person.objects.filter(pk=user.person_id).update(email="old@example.org")
    number = user.employee_number
    with django_capture_on_commit_callbacks(execute=True):
        run(file(f"Number,E-mail\n{number},new@example.org\n"), "--write")
    assert User.objects.get(pk=user.pk).email == "new@example.org"
    assert [mail.to for mail in mailoutbox] == [["old@example.org"]]


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (("--site", "XX"), "There is no site"),
        (("--column", "x"), "HEADING=FIELD"),
        (("--column", "Number=scope"), "HEADING=FIELD"),
        (("--column", "Nothing=full_name"), "no column Nothing"),
        (("--most-leaving", "101"), "0 to 100"),
    ],
)
def test_options_that_cannot_be_are_refused(file, options, sentence):
    make_site()
    assert sentence in run(file("Number,Name\n7001,Ada\n"), *options)[1]


def test_file_that_is_not_there_is_said(tmp_path):
    assert "cannot be read" in run(tmp_path / "none.csv")[1]


def test_another_line_lead_is_written_down_as_by_the_program(file):
    lead, led = staff(2)
    rows = f"{lead.employee_number},{lead.full_name},\n"
    rows += f"{led.employee_number},{led.full_name},{lead.employee_number}\n"
    _told, wrong = run(file(f"Number,Name,Line lead\n{rows}"), "--write")
    assert wrong == ""
    led.refresh_from_db()
    assert led.line_lead == lead
    change = led.line_lead_changes.get()
    assert (change.after, change.entered_by) == (lead, None)
    assert [str(fault) for fault in verify_records().faults] == []


def test_nobody_leaves_who_is_in_the_file_by_a_former_number_or_without_their_zeros(file):
    renumbered, zeros, here = staff(3)
    Person.objects.filter(pk=zeros.pk).update(employee_number="00471")
    make_person(renumbered.site).former_numbers.create(  # Of somebody else, to be told apart.
        employee_number="7100", until_on=date(2026, 1, 1), recorded_at=timezone.now()
    )
    renumbered.former_numbers.create(
        employee_number="7002", until_on=date(2026, 1, 1), recorded_at=timezone.now()
    )
    path = file(listed(here, more="7002,Ada\n471,Bo\n"))
    told, wrong = run(path, "--write", "--leave", "--good-rows", "--most-leaving", "100")
    assert "line 3: " in wrong
    assert "line 4: " in wrong
    assert "1 of 4 not in the file" in told
    left = Person.objects.filter(left_on__isnull=False)
    assert [person.former_numbers.get().employee_number for person in left] == ["7100"]


# A file that writes much


@pytest.fixture
def in_steps(monkeypatch):
    """Two people a step, of a file that writes more than two."""
    monkeypatch.setattr(nightly_people, "MOST_AT_ONCE", 2)
    monkeypatch.setattr(nightly_people, "PEOPLE_A_STEP", 2)


def take(text, pause=lambda _s: None, **asked):
    return nightly_people.take_nightly(
        read=read_list("people.csv", text.encode()),
        handover=nightly_people.Handover(
            write=True, most_leaving_percent=100, answers=Answers(for_all={"site": "CA"}), **asked
        ),
        bringer=program("import_people", all_sites()),
        at=timezone.now(),
        pause=pause,
    )


def new(*numbers):
    return "".join(f"{number},Person {number}\n" for number in numbers)


def taken_in():
    entries = TrailEntry.objects.filter(act="file of people taken in").order_by("number")
    return [json.loads(entry.payload.body) for entry in entries]


def test_long_file_is_written_some_people_at_a_time(in_steps):
    known = staff(5)
    text = listed(
        known[0], more=f"{known[1].employee_number},Bo Newname\n" + new(*range(7001, 7004))
    )
    written = []

    def look(_seconds):
        written.append((Person.objects.count(), Person.objects.exclude(left_on=None).count()))

    report = take(text, pause=look, leave=True)

    assert written == [(6, 0), (8, 0), (8, 2), (8, 3)]
    assert (report.written, report.new, report.changed, report.left) == (True, 3, 1, 3)
    [entry] = taken_in()
    assert entry["left"] == 3
    said = {name: entry["counts"][name] for name in ("enrolled", "changed", "left_alone")}
    assert said == {"enrolled": 3, "changed": 1, "left_alone": 1}
    assert [str(fault) for fault in verify_records().faults] == []
    again = take(text, leave=True)
    assert (again.new, again.changed, again.left) == (0, 0, 0)


def test_leads_are_entered_before_whom_they_lead_in_another_step(in_steps):
    make_site()
    rows = "7001,Ada,7004\n7002,Bo,7004\n7003,Cai,7004\n7004,Dee,\n"
    take("Number,Name,Line lead\n" + rows)
    led = Person.objects.filter(line_lead__employee_number="7004")
    assert set(led.values_list("employee_number", flat=True)) == {"7001", "7002", "7003"}


def test_day_that_other_rows_tell_is_read_so_in_each_step(in_steps):
    make_site()
    rows = "".join(
        f"{number},Ada,{day}\n"
        for number, day in zip(
            range(7001, 7005), ("3/4/2026", "5/4/2026", "6/4/2026", "25/4/2026"), strict=True
        )
    )
    take("Number,Name,Start date\n" + rows)
    assert Person.objects.get(employee_number="7001").started_on == date(2026, 4, 3)


def test_fault_at_first_refuses_all_of_a_long_file(in_steps):
    make_site()
    with pytest.raises(nightly_people.RowsRefused):
        take("Number,Name\n" + new(*range(7001, 7005)) + "7005,\n")
    assert not Person.objects.exists()


def test_row_that_is_wrong_by_its_turn_stays_out_alone_and_is_named(in_steps):
    site = make_site()

    def enter(_seconds):
        if not Person.objects.filter(employee_number="8000").exists():
            other = make_person(site, employee_number="8000")
            other.former_numbers.create(
                employee_number="7003", until_on=date(2026, 1, 1), recorded_at=timezone.now()
            )

    report = take("Number,Name\n" + new(*range(7001, 7005)), pause=enter)

    assert report.written
    assert [fault.line for fault in report.faults] == [4]
    numbers = Person.objects.order_by("employee_number").values_list("employee_number", flat=True)
    assert list(numbers) == ["7001", "7002", "7004", "8000"]


def test_long_file_that_is_stopped_says_what_stays_and_again_does_the_rest(
    in_steps, monkeypatch, file
):
    make_site()
    write_plan = nightly_people.write_plan

    def refuse(people_list, plan, *args, **kwargs):
        if plan.people[0].number == "7003":
            raise ListRefused("Not this one.")
        return write_plan(people_list, plan, *args, **kwargs)

    monkeypatch.setattr(nightly_people, "PAUSE_S", 0)
    monkeypatch.setattr(nightly_people, "write_plan", refuse)
    path = file("Number,Name\n" + new(*range(7001, 7006)))
    _told, wrong = run(path, "--write")
    assert wrong.startswith("Not this one. So the file was stopped on its way.")
    assert "People written before: 2." in wrong
    assert Person.objects.count() == 2
    assert taken_in()[0]["counts"]["enrolled"] == 2

    monkeypatch.setattr(nightly_people, "write_plan", write_plan)
    told, wrong = run(path, "--write")
    assert (told.splitlines()[-1], wrong) == ("Done.", "")
    assert Person.objects.count() == 5
    assert TrailEntry.objects.filter(act="person enrolled").count() == 5


def test_nobody_leaves_who_got_the_number_of_a_row_since(in_steps):
    people = staff(4)
    renumbered = people[3]

    def renumber(_seconds):
        Person.objects.filter(pk=renumbered.pk).update(employee_number="7001")

    report = take("Number,Name\n" + new(7002, 7003, 7004), pause=renumber, leave=True)

    assert report.left == 3
    renumbered.refresh_from_db()
    assert renumbered.left_on is None


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one write at a time")
def test_others_write_between_two_steps_of_a_long_file(in_steps):
    make_site()
    waits = []

    def write(_seconds):
        def somebody():
            with transaction.atomic():
                TrailHead.objects.select_for_update(nowait=True).get()

        at_once(somebody)
        waits.append(Person.objects.count())

    take("Number,Name\n" + new(*range(7001, 7006)), pause=write)

    assert waits == [2, 4, 5]


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite lets one write at a time")
def test_the_same_long_file_twice_at_once_is_written_once(in_steps):
    make_site()
    text = "Number,Name\n" + new(*range(7001, 7006))

    def once():
        try:
            return take(text).written
        except ListStopped as error:
            return str(error)

    answers = at_once(once, once)

    assert True in answers
    assert Person.objects.count() == 5
    assert TrailEntry.objects.filter(act="person enrolled").count() == 5


@pytest.mark.parametrize("kind", Person.Kind)
def test_name_that_was_erased_comes_back_by_no_file_while_they_are_away(file, kind):
    administrator = make_user(Role.ADMINISTRATOR, site=make_site())
    person = make_person(
        make_site(), full_name="Ada Holm", email="ada@skarn.example", employer="Skarn", kind=kind,
        left_on=date(2026, 1, 30),
    )  # fmt: skip
    at = timezone.now()
    erase_person(person=person, reason="Asked for.", actor=administrator, at=at)
    number = person.employee_number
    listed = f"{number},Ada Holm,ada@skarn.example,Skarn,contractor"
    path = file(f"Number,Name,E-mail,Employer,Kind\n{listed}\n")
    assert "0 new, 0 changed, 1 left alone" in run(path, "--write")[0]

    # What the file says of their days is taken all the same.
    path = file(f"Number,Name,E-mail,Employer,Kind,Last day\n{listed},2026-01-31\n")
    told, wrong = run(path, "--write")
    assert (told.splitlines()[0], wrong) == (f"changed: {number} {number}: left_on", "")
    person.refresh_from_db()
    assert (person.full_name, person.email, person.employer) == (number, "", "")
    assert (person.kind, person.left_on) == (kind, date(2026, 1, 31))

    return_person(
        person=person, returned_on=date(2026, 2, 2), reason="-", actor=administrator, at=at
    )
    run(file(f"Number,Name,E-mail,Employer,Kind\n{listed}\n"), "--write")
    person.refresh_from_db()
    assert (person.full_name, person.email) == ("Ada Holm", "ada@skarn.example")

    change_person(person=person, left_on=date(2026, 2, 3), actor=administrator, at=at)
    erase_person(person=person, reason="Asked for again.", actor=administrator, at=at)
    person.refresh_from_db()
    assert person.full_name == number
    assert verify_records().faults == []
