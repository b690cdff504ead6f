"""The pages of written tests: what they give away to whom, and what comes back from paper."""

import json
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from assessments.domain import item_analysis
from assessments.models import Paper, PaperAnswer, WrittenTest
from assessments.presenters.paper_print import paper_pdf
from assessments.queries import written_figures
from assessments.queries import written_tests as queries
from assessments.services import papers
from records.queries.verification import verify_records
from tests import factories
from tests.assessments.written import hand_out, make_test, right_answer, take
from tests.factories import PASSWORD
from tests.paper import pages_of
from tests.signing import send_as_shown

pytestmark = pytest.mark.django_db


@pytest.fixture
def now():
    return timezone.now()


@pytest.fixture
def instructor():
    return factories.make_user("instructor", password=PASSWORD)


@pytest.fixture
def user():
    return factories.make_user()


def url(name, *of):
    return reverse(f"assessments:{name}", args=of)


def given_out(user, instructor, now, **fields):
    site = user.person.site
    return hand_out(
        make_test(), user.person, instructor, at=now, **{"not_before": site.today(now), **fields}
    )


def test_nothing_that_whoever_takes_a_test_is_sent_says_what_is_right(
    client, user, instructor, now
):
    """Keys of these questions are texts that stand nowhere else; so is what to read again."""
    paper = given_out(user, instructor, now)
    client.force_login(user)
    address = url("paper_detail", paper.number)
    before = client.get(address).content.decode()
    client.post(url("paper_start", paper.number))
    taking = client.get(address).content.decode()
    assert "What of 0?" not in before
    assert "What of 0?" in taking
    # The drawing comes without its name and without the disc that calls it acceptable.
    for telling in ("0.7612", "tolerance", "C4,", "Read leaf", "turret-wrap", "d-accept", "Q01"):
        assert telling not in before + taking
    order = taking[taking.index('data-order="4"') :]
    shown = [order.index(choice) for choice in ("Strip", "Tin", "Wrap")]
    assert shown != sorted(shown)  # Never as it is right.
    client.post(url("paper_hand_in", paper.number))
    after = client.get(address).content.decode()
    assert "0 of 5 right" in after
    assert "Read leaf 2" in after
    assert "0.7612" not in after + str(client.get("/written-tests/").content)
    other = factories.make_user()
    client.force_login(other)
    assert client.get(address).status_code == 404


def test_answers_come_by_form_and_by_script_and_nothing_nobody_types_is_stored(
    client, user, instructor, now
):
    paper = given_out(user, instructor, now)
    client.force_login(user)
    client.post(url("paper_start", paper.number))
    to = url("paper_answer", paper.number)
    assert client.post(to, {"order": 2, "answer": ["0", "2"]}).url.endswith("#q2")
    sent = {"order": "3", "given": '["0,77 mm"]', "key": "a"}
    json_ = {"headers": {"accept": "application/json"}}
    for _again in range(2):
        assert client.post(to, sent, **json_).json() == {"saved": True, "late": False}
    assert PaperAnswer.objects.count() == 2
    for bad in (
        {"order": "3", "given": '["a\\u0000"]'},
        {"order": "3", "given": '["\\ud800"]'},
        {"order": "3", "given": json.dumps(["9" * 5000])},
        {"order": "3", "given": "[" * 3000},
        {"order": "3", "given": '{"a": 1}'},
        {"order": "9" * 5000, "given": "[]"},
        {"order": "999", "given": "[]"},
        {"order": "3", "given": '["1"]', "key": "k" * 50},
    ):
        answer = client.post(to, bad, **json_)
        assert (answer.status_code, answer.json()["saved"]) == (422, False)
        assert answer.json()["says"]
    assert PaperAnswer.objects.count() == 2
    assert "0,77 mm" in client.get(url("paper_detail", paper.number)).content.decode()


def test_a_test_is_drafted_published_and_handed_out_in_pages(client, now):
    quality = factories.make_user("quality", "instructor", password=PASSWORD)
    session = factories.make_session(people=(factories.make_person(), quality.person))
    client.force_login(quality)
    made = {"code": "HS-W", "title": "Heat", "course_revision": session.course_revision.pk}
    page = client.post(url("written_test_new"), made).url
    test = WrittenTest.objects.get()
    new = f"{url('question_new', test.pk)}?kind=one"
    question = {
        "topic": "Heat", "text": "Why?", "choice-0": "a", "choice-2": "b", "right-2": "on",
        "on_forms": "A", "read_again": "Leaf 3",
    }  # fmt: skip
    assert client.post(new, question | {"photo": "photos/none/"}).status_code == 422
    assert client.post(new, question).url == page
    saved = test.questions.get()
    assert (saved.choices, saved.key) == (["a", "b"], {"right": [1]})
    edit = url("question_edit", test.pk, "Q01")
    stale = question | {"seen": "0" * 64, "text": "Mine?"}
    answer = client.post(edit, stale)
    assert answer.status_code == 422
    assert "changed this since you opened it" in answer.content.decode()
    rules = {
        "title": "Heat", "minutes": 20, "pass_percent": 100, "pass_basis": "Two instructors.",
        "tries": 1, "wait_days": 0, "forms": "fixed",
    }  # fmt: skip
    assert (
        client.post(url("written_test_rules", test.pk), rules | {"minutes": 0}).status_code == 422
    )
    assert client.post(url("written_test_rules", test.pk), rules).url == page
    publish = url("written_test_publish", test.pk)
    sent = {"reason": "First.", "password": "wrong"}
    assert send_as_shown(client, publish, sent).status_code == 422
    assert send_as_shown(client, publish, sent | {"password": PASSWORD}).url == page
    give = url("written_test_hand_out", test.pk)
    assert client.get(give, {"session": session.number}).context["form"]["people"].value() == (
        session.enrolments.exclude(person=quality.person).get().person.employee_number
    )
    people = {"medium": "screen", "not_before": now.date() + timedelta(days=2)}
    assert client.post(give, people | {"people": "nobody\n"}).status_code == 422
    assert not Paper.objects.exists()
    other = session.enrolments.exclude(person=quality.person).get().person
    assert client.post(give, people | {"people": other.full_name}).status_code == 302
    assert Paper.objects.get().person == other


def test_a_printed_paper_says_what_is_asked_and_is_entered_under_a_signature(
    client, user, instructor, now
):
    paper = given_out(user, instructor, now, medium="printed")
    client.force_login(instructor)
    printed = " ".join(pages_of(paper_pdf(paper, at=now)))
    for words in ("Answer sheet", paper.number, "What of 3?", "Alloy three", "mm"):
        assert words in printed
    assert "0.7612" not in printed
    assert "Read leaf" not in printed
    enter = url("paper_enter", paper.number)
    typed = {"sat_on": user.person.site.today(now), "password": PASSWORD}
    for each in queries.questions_of(paper):
        right = right_answer(each.question, each.shown)
        chosen = each.question.kind in ("one", "several")
        # Letters in their order, as they are shown again: choices stand before each as they fell.
        typed[f"answer-{each.order}"] = " ".join(
            sorted("ABC"[int(one)] for one in right) if chosen else right
        )
    refused = send_as_shown(client, enter, typed | {"answer-1": "Z", "answer-5": "Z9"})
    assert refused.status_code == 422
    assert "letters from A to C" in refused.content.decode()
    assert send_as_shown(client, enter, typed).url == url("paper_detail", paper.number)
    result = queries.result_of(Paper.objects.get())
    assert (result.right, result.passed, result.signature.signer) == (5, True, instructor)

    # Passed, and two lines of the sheet were read wrongly.
    correct = url("paper_correct", paper.number)
    assert correct in client.get(url("paper_detail", paper.number)).content.decode()
    form = client.get(correct).context["form"]
    stands = {name: form[name].value() for name in form.fields if name.startswith("answer-")}
    assert stands == {name: text for name, text in typed.items() if name.startswith("answer-")}
    why = {"reason": "Two lines were mixed up.", "password": PASSWORD}
    same = send_as_shown(client, correct, stands | why)
    assert (same.status_code, "is what is entered" in same.content.decode()) == (422, True)
    stands |= {"answer-1": "", "answer-2": ""}
    assert send_as_shown(client, correct, stands | why | {"reason": ""}).status_code == 422
    assert send_as_shown(client, correct, stands | why).url == url("paper_detail", paper.number)
    first, second = Paper.objects.get().results.order_by("round")
    assert (first.right, second.right, second.passed) == (5, 3, False)
    assert (second.reason, second.signature.signer) == (why["reason"], instructor)
    assert why["reason"] in client.get(url("paper_detail", paper.number)).content.decode()
    assert verify_records().faults == []


def test_whoever_has_a_test_open_reads_it_on_nobody_elses_paper(client, user, instructor, now):
    paper = given_out(user, instructor, now, medium="printed")
    other = factories.make_user("instructor")
    own = hand_out(paper.test, other.person, instructor, at=now)
    pages = ("paper_pdf", "paper_enter", "paper_count_late")
    client.force_login(other)
    assert [client.get(url(name, paper.number)).status_code for name in pages] == [404] * 3
    read = client.get(url("paper_detail", paper.number)).content.decode()
    assert not any(url(name, paper.number) in read for name in pages)
    papers.start_paper(paper=own, actor=other, at=now)
    papers.hand_in(paper=own, actor=other, at=now)
    assert client.get(url("paper_pdf", paper.number)).status_code == 200


def test_late_answers_are_shown_and_counted_by_an_instructor(client, user, instructor, now):
    began = now - timedelta(minutes=40)
    paper = given_out(user, instructor, began)
    papers.start_paper(paper=paper, actor=user, at=began)
    client.force_login(user)
    client.post(url("paper_answer", paper.number), {"order": 3, "answer": "0.77"})
    client.post(url("paper_hand_in", paper.number))
    said = client.get(url("paper_detail", paper.number)).content.decode()
    assert "0 of 5 right" in said
    assert "came after the" in said
    client.force_login(instructor)
    count = url("paper_count_late", paper.number)
    sent = {"reason": "No network.", "password": PASSWORD}
    assert send_as_shown(client, count, sent).status_code == 302
    assert queries.result_of(Paper.objects.get()).right == 1


def test_figures_are_silent_until_there_are_enough_first_papers(
    client, instructor, now, monkeypatch
):
    """Thirty, as the computation itself is held to; here seven, which take less time."""
    monkeypatch.setattr(item_analysis, "LEAST_PAPERS", 7)
    one = {"kind": "one", "choices": ["a", "b"], "key": {"right": [0]}}
    test = make_test(one, one, tries=3, wait_days=0, pass_percent=100)
    for n in range(6):
        take(test, factories.make_user(), instructor, wrong=tuple(range(1, 1 + n % 3)), at=now)
    again = Paper.objects.filter(results__passed=False).first()
    take(test, again.person.user, instructor, at=now)  # A second paper is not counted.
    client.force_login(instructor)
    address = url("written_test_figures", test.pk)
    silent = client.get(address).content.decode()
    assert "6 people have taken this form for the first time" in silent
    assert "KR-20 is" not in silent
    take(test, factories.make_user(), instructor, at=now)
    [form] = written_figures.figures_of(test)
    assert form.papers == 7 == form.questions[0].answers
    said = client.get(address).content.decode()
    assert "KR-20 is" in said
    assert "by Huynh’s method" in said
    first = form.questions[0]
    assert sum(choice.chosen for choice in first.choices) == round(7 * first.difficulty)
