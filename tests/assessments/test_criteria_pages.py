"""Criteria are read by everyone, worked on by instructors and published by quality."""

import json
import re

import pytest
from django.urls import reverse
from django.utils.html import strip_tags

from assessments.content.criteria import REVISION_2
from assessments.models import CriteriaSet
from assessments.presenters.criteria_draft import draft_shown
from assessments.queries import criteria_sets
from assessments.services import criteria as services
from people.models import Installation, Site
from records.models import TrailEntry
from tests.factories import (
    NOW,
    PASSWORD,
    load_published_content,
    make_criteria_set,
    make_exercise,
    make_site,
    make_user,
)
from tests.signing import shown_on
from training.models import JointType

pytestmark = pytest.mark.django_db

LIST = reverse("assessments:criteria_list")
SIGNED = {"reason": "The standard has a new revision.", "password": PASSWORD}


def reference(joint_type):
    return reverse("assessments:criteria_for_joint_type", args=[joint_type])


def url(name, made, *more):
    return reverse(f"assessments:{name}", args=[made.pk, *more])


@pytest.fixture
def demo():
    Installation.objects.create(id=1, organisation="Skarnfell Instruments", demo_loaded_at=NOW)


@pytest.fixture
def published(demo):
    made = services.load_criteria_set(content=REVISION_2, actor="load_demo", at=NOW)
    return services.publish_criteria_set(criteria_set=made, actor=None, at=NOW)


@pytest.fixture
def draft():
    return make_criteria_set(published=False)


def shown(draft):
    return {"shown": draft_shown(CriteriaSet.objects.get(pk=draft.pk), NOW).as_text()}


def ticked(draft, *codes):
    """What the page sends on which these criteria, or all, are ticked."""
    rows = list(draft.criteria.all())
    return {
        "document": "",
        "codes": codes or [row.code for row in rows],
        **{f"seen-{row.code}": criteria_sets.digest_of(row) for row in rows},
    }


def as_role(client, *roles):
    user = make_user(*roles, password=PASSWORD)
    client.force_login(user)
    return user


def read(client, address, **asked):
    answer = client.get(address, asked)
    assert answer.status_code == 200
    return answer.content.decode()


def test_whoever_is_not_signed_in_is_asked_to(client, published):
    for address in (LIST, reference("turret"), url("criteria_set_detail", published)):
        assert client.get(address).url == f"{reverse('account_login')}?next={address}"


def test_the_list_leads_to_each_joint_type(client, published):
    as_role(client)

    page = read(client, LIST)

    assert str(published) in page
    assert all(reference(joint_type) in page for joint_type in JointType.values)


def test_an_empty_list_says_what_to_do(client):
    as_role(client)
    assert "An administrator adds the criteria that come along" in read(client, LIST)


@pytest.mark.parametrize("role", ["administrator", "quality"])
def test_who_may_not_read_a_draft_is_told_that_it_is_there(client, role):
    make_criteria_set(published=False)
    as_role(client, role)
    page = read(client, LIST)
    assert "A draft is there. Boards cannot be graded until quality" in page
    assert "administrator adds" not in page


@pytest.mark.parametrize("joint_type", JointType.values)
def test_a_reference_page_shows_every_criterion_with_its_drawings(client, published, joint_type):
    as_role(client)

    page = read(client, reference(joint_type))

    asked = [one for one in REVISION_2.criteria if joint_type in one.joint_types]
    assert page.count('<article class="criterion"') == len(asked)
    assert page.count('class="pair"') == len(asked)
    assert "is-missing" not in page
    assert page.count("unverified</p>") == len(asked)


def test_a_criterion_says_limit_severity_demerits_source_and_advice(client, published):
    as_role(client)

    page = read(client, reference("turret"))
    wrap = page.split('id="F-01"')[1].split("</article>")[0]

    for said in (
        "180° to 270°",
        "measured",
        "major",
        "25 demerits",
        "chapter 9",
        "Both limits are from memory",
        "Try this:",
    ):
        assert said in wrap


def test_confirmed_and_unverified_are_told_apart(client, draft):
    quality = make_user("quality")
    services.confirm_criteria(criteria_set=draft, codes=["S-1"], actor=quality, at=NOW)
    as_role(client, "instructor")

    page = read(client, reference("turret"), set=str(draft.pk))

    assert "confirmed" in page.split('id="S-1"')[1].split("</article>")[0]
    assert "unverified" in page.split('id="S-2"')[1].split("</article>")[0]


@pytest.mark.parametrize("address", ["/criteria/sets/", "/criteria/nail/", "/criteria/sets/99/"])
def test_what_is_not_there_is_unknown(client, published, address):
    as_role(client)
    assert client.get(address).status_code == 404


def test_a_joint_type_is_unknown_while_nothing_is_published(client, draft):
    as_role(client)
    assert client.get(reference("turret")).status_code == 404
    assert client.get(reference("turret"), {"set": "x"}).status_code == 404


def test_drafts_are_for_those_who_work_on_them(client, draft):
    as_role(client)
    assert client.get(url("criteria_set_detail", draft)).status_code == 404
    assert client.get(reference("turret"), {"set": draft.pk}).status_code == 404
    assert str(draft) not in read(client, LIST)

    for role in ("instructor", "quality"):
        as_role(client, role)
        assert "draft" in read(client, url("criteria_set_detail", draft))


def test_a_retired_set_is_still_read(client, published):
    make_criteria_set()
    services.retire_criteria_set(criteria_set=published, actor=None, at=NOW)
    as_role(client)

    assert "retired" in read(client, LIST)
    assert "180° to 270°" in read(client, url("criteria_set_detail", published))
    assert "180° to 270°" in read(client, reference("turret"), set=str(published.pk))


def test_quality_confirms_and_publishes(client, draft):
    as_role(client, "quality")
    assert "4 criteria have not been" in read(client, url("criteria_set_detail", draft))
    assert "Not yet: 4 criteria are unconfirmed" in read(client, url("criteria_publish", draft))
    refused = client.post(url("criteria_publish", draft), SIGNED | shown(draft))
    assert refused.status_code == 422
    assert "4 criteria are not verified" in refused.content.decode()

    assert client.post(url("criteria_confirm", draft), ticked(draft)).status_code == 302
    answer = client.post(url("criteria_publish", draft), SIGNED | shown(draft))

    assert answer.url == url("criteria_set_detail", draft)
    assert CriteriaSet.objects.current().get() == draft
    kept = json.loads(TrailEntry.objects.get(act="criteria set published").payload.body)
    assert (kept["reason"], kept["proof"]) == (SIGNED["reason"], "password")


@pytest.mark.parametrize("codes", [[], ["NO-1"]], ids=["none", "unknown"])
def test_confirming_nothing_is_refused(client, draft, codes):
    as_role(client, "quality")

    answer = client.post(url("criteria_confirm", draft), ticked(draft) | {"codes": codes})

    assert answer.status_code == 422
    assert 'role="alert"' in answer.content.decode()
    assert not draft.criteria.filter(confirmed_at__isnull=False).exists()


def test_quality_retires_and_drafts_the_next(client, published):
    as_role(client, "quality")

    answer = client.post(url("criteria_draft", published))
    made = CriteriaSet.objects.get(revision=3)
    assert answer.url == url("criteria_set_detail", made)
    again = client.post(url("criteria_draft", published), follow=True)
    assert again.redirect_chain == [(url("criteria_set_detail", made), 302)]
    assert "There is a draft already" in again.content.decode()

    alone = client.post(url("criteria_retire", published), SIGNED)
    assert alone.status_code == 422
    assert "is the only published set" in alone.content.decode()
    CriteriaSet.objects.create(title="Another", revision=1, published_at=NOW)
    client.post(url("criteria_retire", published), SIGNED)
    published.refresh_from_db()
    assert published.retired_at is not None
    entry = TrailEntry.objects.get(act="criteria set retired")
    kept = json.loads(entry.payload.body)
    assert (kept["reason"], kept["proof"]) == (SIGNED["reason"], "password")
    assert client.post(url("criteria_retire", published), SIGNED).status_code == 422


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"reason": " "}, "Say why"),
        ({"password": ""}, "Type your password"),
        ({"password": "not it"}, "not your password"),
    ],
)
@pytest.mark.parametrize("name", ["criteria_publish", "criteria_retire"])
def test_a_set_is_published_and_retired_with_reason_and_password(
    client, draft, published, name, given, says
):
    make_criteria_set()
    as_role(client, "quality")
    made = draft if name == "criteria_publish" else published
    if name == "criteria_publish":
        made.criteria.update(confirmed_at=NOW)
    before = set(CriteriaSet.objects.current())

    answer = client.post(url(name, made), SIGNED | shown(made) | given)

    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert set(CriteriaSet.objects.current()) == before


def filled(criterion, **fields):
    """What the form of a criterion sends, with what somebody typed."""
    state = criteria_sets.state_of(criterion)
    return {**state, "shown": json.dumps(state), **fields}


def test_an_instructor_changes_a_draft(client, draft):
    as_role(client, "instructor")
    edit = url("criterion_edit", draft, "S-2")
    assert 'name="demerits"' in read(client, edit)

    answer = client.post(edit, filled(draft.criteria.get(code="S-2"), demerits="15"))

    assert answer.url == edit
    assert draft.criteria.get(code="S-2").demerits == 15
    above = read(client, url("criteria_set_detail", draft)).split("<main")[0]
    assert "changed" not in strip_tags(above)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"demerits": "-1"}, "greater than or equal to 0"),
        ({"demerits": "many"}, "Enter a whole number"),
        ({"severity": "fatal"}, "Select a valid choice"),
        ({"low": "3", "high": "2", "unit": "D"}, "lies above"),
        ({"high": "2"}, "needs its unit"),
        ({"quantity": "clearance", "high": "2", "unit": "deg"}, "not stated in that unit"),
        ({"how": "measured"}, "needs a limit"),
        ({"title_en": ""}, "in one language at least"),
        ({"joint_types": []}, "Choose at least one joint type"),
        ({"accept_drawing": "no-such-drawing"}, "Select a valid choice"),
    ],
    ids=[
        "negative",
        "no number",
        "severity",
        "limits",
        "no unit",
        "a clearance in degrees",
        "measured without a limit",
        "no title",
        "no joint",
        "no drawing",
    ],
)
def test_what_cannot_be_is_said_and_nothing_changed(client, draft, fields, said):
    as_role(client, "instructor")
    criterion = draft.criteria.get(code="S-2")

    answer = client.post(url("criterion_edit", draft, "S-2"), filled(criterion, **fields))

    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert criteria_sets.state_of(draft.criteria.get(code="S-2")) == criteria_sets.state_of(
        criterion
    )


def test_a_page_filled_before_somebody_else_changed_it_shows_both(client, draft):
    edit = url("criterion_edit", draft, "S-2")
    before = draft.criteria.get(code="S-2")
    mine = filled(before, severity="minor", text_en="Mine")
    as_role(client, "instructor")
    assert client.post(edit, filled(before, demerits="35")).status_code == 302
    as_role(client, "quality")

    refused = client.post(edit, mine)

    page = refused.content.decode()
    assert refused.status_code == 422
    assert "since you opened it" in page
    assert "There now: 35" in page
    assert ">\nMine</textarea>" in page
    assert draft.criteria.get(code="S-2").text == "Do"
    now = draft.criteria.get(code="S-2")
    again = client.post(edit, mine | {"shown": filled(now)["shown"]})
    assert again.status_code == 302
    assert draft.criteria.get(code="S-2").demerits == 20


def test_a_draft_is_worked_on_as_a_whole(client, draft):
    as_role(client, "instructor")
    described = {
        "summary": "For the tank.",
        "document": "WI-204",
        "product_class": "class 3",
        "by_default": "on",
        "shown": json.dumps(
            {"summary": "", "document": "", "product_class": "", "by_default": True}
        ),
    }

    assert client.post(url("criteria_describe", draft), described).status_code == 302
    stale = client.post(url("criteria_describe", draft), described | {"summary": "Other"})
    added = client.post(
        url("criterion_add", draft),
        filled(draft.criteria.get(code="S-2"), code="S-10", title_en="Drawn back"),
    )
    used = client.post(
        url("criterion_add", draft), filled(draft.criteria.get(code="S-2"), code="S-3")
    )
    client.post(url("criterion_move", draft, "S-10"), {"to": "earlier"})
    seen = {"seen": criteria_sets.digest_of(draft.criteria.get(code="S-3"))}
    unsaid = client.post(url("criterion_drop", draft, "S-3"), seen | {"why": " "})
    dropped = client.post(url("criterion_drop", draft, "S-3"), seen | {"why": "Says little."})

    draft.refresh_from_db()
    assert (draft.document, draft.product_class) == ("WI-204", "class 3")
    assert stale.status_code == 422
    assert "changed this meanwhile" in stale.content.decode()
    assert added.url == url("criterion_edit", draft, "S-10")
    assert used.status_code == 422
    assert "A code means one thing for ever" in used.content.decode()
    assert unsaid.status_code == 422
    assert dropped.status_code == 302
    assert [one.code for one in draft.criteria.all()] == ["S-1", "S-2", "S-10", "S-9"]
    assert draft.dropped == {"S-3": "Says little."}


def test_a_set_is_begun_and_its_title_given_once(client, published):
    as_role(client, "instructor")
    given = {"title": "Tank", "document": "WI-204", "copied_from": str(published.pk)}

    answer = client.post(reverse("assessments:criteria_set_new"), given)
    again = client.post(reverse("assessments:criteria_set_new"), given)

    made = CriteriaSet.objects.get(title="Tank")
    assert answer.url == url("criteria_set_detail", made)
    assert made.criteria.count() == published.criteria.count()
    assert again.status_code == 422
    assert "There is a set" in again.content.decode()


def test_revisions_are_compared_in_words(client, published):
    as_role(client, "quality")
    draft = services.draft_next_revision(criteria_set=published, actor=make_user(), at=NOW)
    criterion = draft.criteria.get(code="F-01")
    client.post(url("criterion_edit", draft, "F-01"), filled(criterion, low="90", high="200"))

    for name in ("criteria_compare", "criteria_publish", "criteria_set_detail"):
        page = read(client, url(name, draft))
        assert "<del>180°</del> <ins>90°</ins>" in page
        assert "stricter and milder" in page
    as_role(client)
    assert client.get(url("criteria_compare", draft)).status_code == 404
    assert "only revision" in read(client, url("criteria_compare", published))
    other = client.get(url("criteria_compare", published), {"with": str(draft.pk)})
    assert other.status_code == 404


def test_what_was_not_shown_is_not_published(client, draft):
    as_role(client, "quality")
    draft.criteria.update(confirmed_at=NOW)
    before = shown(draft)
    draft.criteria.filter(code="S-2").update(demerits=1)

    answer = client.post(url("criteria_publish", draft), SIGNED | before)
    unsaid = client.post(url("criteria_publish", draft), SIGNED)

    assert answer.status_code == unsaid.status_code == 422
    said = answer.content.decode()
    assert "What you were shown has changed since, so nothing was signed." in said
    assert "Title 2 (S-2)" in said
    assert re.search(r"<b>\s*\w+, 1 demerit, ", said)
    assert "This page came without what it showed" in unsaid.content.decode()
    assert not CriteriaSet.objects.current().exists()
    assert client.post(url("criteria_publish", draft), SIGNED | shown_on(answer)).status_code == 302


def test_what_was_changed_since_it_was_read_is_not_confirmed(client, draft):
    as_role(client, "quality")
    sent = ticked(draft, "S-2")
    draft.criteria.filter(code="S-2").update(demerits=1)

    answer = client.post(url("criteria_confirm", draft), sent)

    assert answer.status_code == 422
    assert "S-2 was changed since you opened this page" in answer.content.decode()
    assert not draft.criteria.filter(confirmed_at__isnull=False).exists()


def test_a_published_criterion_has_no_page_to_change_it(client, published):
    as_role(client, "quality")

    assert client.get(url("criterion_edit", published, "F-01")).status_code == 404


ACTS = ["criteria_confirm", "criteria_publish", "criteria_retire", "criteria_draft"]


@pytest.mark.parametrize(
    ("role", "refused"),
    [
        ("instructor", ["criteria_confirm", "criteria_publish", "criteria_retire"]),
        ("line_lead", ACTS),
        ("administrator", ACTS),
        (None, ACTS),
    ],
)
def test_acts_are_for_roles(client, draft, role, refused):
    as_role(client, *([role] if role else []))

    for name in refused:
        assert client.post(url(name, draft)).status_code == 403
    if role != "instructor":
        assert client.get(url("criterion_edit", draft, "S-2")).status_code == 403


def test_acts_take_post_alone(client, draft):
    as_role(client, "quality")

    acts = ["criteria_retire", "criteria_draft", "criteria_describe"]
    assert {client.get(url(name, draft)).status_code for name in acts} == {405}


@pytest.fixture
def exercises():
    load_published_content()


def judged(code):
    return reverse("assessments:exercise_criteria", args=[code])


@pytest.mark.parametrize(
    ("code", "there", "not_there"),
    [
        ("EX-WIRE", ["P-01", "C-01"], ["F-01", "S-01"]),
        ("EX-TUR-1", ["P-01", "F-01", "S-01", "B-03"], ["P-09"]),
        ("EX-MIX", ["F-01", "P-09", "S-01"], []),
    ],
)
def test_an_exercise_says_what_will_be_judged(client, published, exercises, code, there, not_there):
    as_role(client)

    page = read(client, judged(code))

    assert all(f'id="{one}"' in page for one in there)
    assert not any(f'id="{one}"' in page for one in not_there)


def test_the_exercise_page_takes_only_the_part(client, published, exercises):
    as_role(client)

    part = client.get(judged("EX-CUP"), headers={"HX-Request": "true"}).content.decode()

    assert "<html" not in part
    assert part.lstrip().startswith("<section")
    assert "<html" in read(client, judged("EX-CUP"))


def test_an_exercise_without_criteria_says_so(client):
    make_exercise(code="EX-A")
    as_role(client)

    assert "No criteria are published yet" in read(client, judged("EX-A"))


def test_criteria_of_an_exercise_that_is_not_there_are_unknown(client, published, exercises):
    as_role(client)

    assert client.get(judged("EX-NONE")).status_code == 404
    assert client.get(judged("EX-CUP"), {"revision": "8"}).status_code == 404
    assert client.get(judged("EX-CUP"), {"revision": "x"}).status_code == 404
    assert client.post(judged("EX-CUP")).status_code == 405


def test_the_reference_page_reads_the_set_once(client, published, django_assert_max_num_queries):
    as_role(client)

    with django_assert_max_num_queries(10):
        answer = client.get(reference("turret"))
    assert answer.status_code == 200
    assert "S-1" in answer.text


def test_criteria_are_confirmed_document_by_document(client, draft):
    draft.criteria.filter(code__in=["S-1", "S-2"]).update(document="WI-204", clause="5.3")
    draft.criteria.filter(code="S-1").update(source_note="From memory: check in the document.")
    quality = as_role(client, "quality")
    confirm = url("criteria_confirm", draft)
    page = read(client, confirm, document="WI-204")
    assert 'value="S-1"' in page
    assert 'value="S-3"' not in page
    assert "From memory" in page

    sent = ticked(draft, "S-1", "S-2") | {"document": "WI-204", "edition": "rev. C"}
    assert client.post(confirm, sent).url == confirm

    kept = draft.criteria.get(code="S-1")
    assert (kept.source, kept.confirmed_by) == ("WI-204, rev. C, 5.3", quality)
    assert kept.source_note == ""
    assert str(quality) in read(client, confirm, document="WI-204")
    assert "Read by" in read(client, url("criterion_edit", draft, "S-1"))
    # What stands under another document is not taken along.
    other = client.post(confirm, ticked(draft, "S-3") | {"document": "WI-204"})
    assert other.status_code == 422
    assert not draft.criteria.get(code="S-3").is_verified


def test_a_second_person_is_asked_for_where_a_site_wants_that(client, draft):
    Site.objects.filter(pk=make_site().pk).update(criteria_by_two=True)
    confirm = url("criteria_confirm", draft)
    first = as_role(client, "quality")
    client.post(confirm, ticked(draft, "S-2"))
    assert "by you; a second person" in read(client, confirm)
    assert "confirmed by one of two" in read(client, url("criteria_set_detail", draft))
    assert f"read by {first}; a second person" in read(client, url("criteria_publish", draft))
    again = client.post(confirm, ticked(draft, "S-2"))
    assert again.status_code == 422
    assert "A second person has to read them too" in again.content.decode()

    second = as_role(client, "quality")
    assert f"first read by {first}" in " ".join(read(client, confirm).split())
    assert client.post(confirm, ticked(draft)).status_code == 302

    assert draft.criteria.get(code="S-2").also_confirmed_by == second
    assert draft.criteria.get(code="S-1").also_confirmed_by is None


def test_publishing_names_what_is_unconfirmed_and_then_who_published(client, draft):
    quality = as_role(client, "quality")
    page = read(client, url("criteria_publish", draft))
    assert page.count(url("criterion_edit", draft, "S-1")) == 1
    assert 'name="password"' not in page
    client.post(url("criteria_confirm", draft), ticked(draft))

    assert 'name="password"' in read(client, url("criteria_publish", draft))
    client.post(url("criteria_publish", draft), SIGNED | shown(draft))

    page = read(client, url("criteria_set_detail", draft))
    assert str(quality) in page
    assert SIGNED["reason"] in page
    for name in ("criteria_publish", "criteria_confirm"):
        again = client.post(url(name, draft), SIGNED | shown(draft), follow=True)
        assert "never changes" in again.content.decode()
        assert again.redirect_chain == [(url("criteria_set_detail", draft), 302)]


def test_an_exercise_names_its_set_and_boards_begin_with_it(client, published):
    exercise = make_exercise(code="EX-A")
    quality = as_role(client, "quality")
    tank = services.begin_criteria_set(title="Tank", actor=quality, at=NOW, copied_from=published)
    services.publish_criteria_set(criteria_set=tank, actor=quality, at=NOW)
    assert str(published) in read(client, judged("EX-A"))
    choose = reverse("assessments:exercise_criteria_choose", args=["EX-A"])

    def chosen(title, before):
        answer = client.post(choose, {"title": title, "shown": before}, follow=True)
        return answer.content.decode()

    assert "What changed is saved" in chosen("Tank", "")
    assert str(tank) in read(client, judged("EX-A"))
    assert "Somebody else changed this meanwhile" in chosen("Workmanship", "")
    assert "Choose one of the published sets" in chosen("Nothing", "Tank")
    assert "EX-A" in read(client, url("criteria_set_detail", tank))
    as_role(client, "instructor")
    assert "By which set" not in read(client, judged("EX-A"))
    assert criteria_sets.set_for(exercise.code) == tank


def test_a_draft_is_discarded_with_the_reason_and_the_trail_keeps_it(client, draft):
    as_role(client, "instructor")
    discard = url("criteria_discard", draft)
    seen = {"seen": criteria_sets.draft_digest(draft)}
    unsaid = client.post(discard, seen)
    draft.criteria.filter(code="S-1").update(demerits=1)
    stale = client.post(discard, seen | {"why": "Begun by mistake."})
    assert (unsaid.status_code, stale.status_code) == (422, 422)
    assert "Say why" in unsaid.content.decode()
    assert "was changed since you opened" in stale.content.decode()

    seen = {"seen": criteria_sets.draft_digest(draft)}
    answer = client.post(discard, seen | {"why": "Begun by mistake."})

    assert answer.url == LIST
    assert not CriteriaSet.objects.filter(pk=draft.pk).exists()
    kept = json.loads(TrailEntry.objects.get(act="criteria draft discarded").payload.body)
    assert kept["why"] == "Begun by mistake."
    assert set(kept["criteria"]) == {"S-1", "S-2", "S-3", "S-9"}
    assert client.post(discard, seen | {"why": "Again."}).status_code == 404
