"""Pages of schemes, scopes and operations: what they say, take and refuse."""

import re

import pytest
from django.urls import reverse

from certification.models import Operation, Scheme, SchemeRevision, Scope
from certification.queries import scheme_drafts as queries
from certification.services import scheme_drafts, schemes, starter
from people.models import Site
from records.models import Signature
from tests.factories import (
    NOW,
    PASSWORD,
    load_published_content,
    make_certificate,
    make_exercise,
    make_revision,
    make_scope,
    make_user,
)
from training.models import Position
from training.services.exercise_publishing import publish_exercises

pytestmark = pytest.mark.django_db


@pytest.fixture
def quality():
    return make_user("quality", password=PASSWORD)


@pytest.fixture
def browse(client, quality):
    client.force_login(quality)
    return client


@pytest.fixture
def starters(quality):
    load_published_content()
    starter.load_starter(actor=quality, at=NOW)
    return {one.scheme.code: one for one in SchemeRevision.objects.select_related("scheme")}


def at(name, *args):
    return reverse(f"certification:{name}", args=args)


def text_of(answer):
    return re.sub(r"\s+", " ", answer.content.decode())


def fields_of(answer):
    """What a browser would send of the draft's form as it stands."""
    form, lines = answer.context["form"], answer.context["lines"]
    sent = {}
    for field in form:
        value = field.value()
        if isinstance(value, bool):
            if value:
                sent[field.html_name] = "on"
        elif value is not None:
            sent[field.html_name] = form.fields[field.name].prepare_value(value)
    for part in (lines.management_form, *lines.forms):
        for field in part:
            if (value := field.value()) is not None:
                sent[field.html_name] = value
    return sent


def draft_sent(client, revision, **changes):
    return fields_of(client.get(at("scheme_detail", revision.pk))) | changes


# Schemes


def test_an_empty_list_says_what_to_begin_with_and_the_button_begins_it(browse):
    load_published_content()
    assert "No scheme yet, so nobody can be certified" in text_of(browse.get(at("scheme_list")))
    answer = browse.post(at("scheme_starter"), follow=True)
    assert "Added: 12 scopes, 3 schemes as drafts. Nothing is published" in text_of(answer)
    assert "starter, draft" in text_of(answer)
    again = text_of(browse.post(at("scheme_starter"), follow=True))
    assert "Everything that comes along is here already" in again


def test_a_starter_says_where_each_figure_comes_from(browse, starters):
    page = text_of(browse.get(at("scheme_detail", starters["HS-OP"].pk)))
    assert "Nobody has compared its figures" in page
    assert "NASA’s programme (slides of 2011): 2 years." in page
    assert "Nothing stops it from being published" in page


def test_a_scheme_of_ones_own_is_begun_changed_and_published(browse, quality):
    scope, exercise = make_scope(code="TERM"), make_exercise()
    answer = browse.post(at("scheme_new"), {"code": "HS-1", "title": "Hand soldering"})
    revision = SchemeRevision.objects.get()
    assert answer.url == at("scheme_detail", revision.pk)

    publish = browse.get(at("scheme_publish", revision.pk))
    assert "It covers no scope." in text_of(publish)
    assert 'name="password"' not in text_of(publish)

    sent = draft_sent(browse, revision, validity_months="18", scopes=[scope.pk])
    sent |= {"asked-0-scope": "TERM", "asked-0-exercise": exercise.code, "asked-0-boards": "2"}
    answer = browse.post(at("scheme_change", revision.pk), sent, follow=True)
    assert "What changed is saved." in text_of(answer)
    assert "The source went with the figure that it spoke of: Good for." in text_of(answer)
    asked = revision.requirements.get()
    assert (asked.boards, asked.within_months, asked.purposes) == (2, 12, [])

    answer = browse.get(at("scheme_publish", revision.pk))
    assert "Nothing stops it" in text_of(answer)
    assert "Nobody is certified today as inspector or instructor for: turret" in text_of(answer)
    shown = answer.context["form"].showing.as_text()
    given = {"shown": shown, "reason": "For line 4.", "password": PASSWORD}
    answer = browse.post(at("scheme_publish", revision.pk), given, follow=True)
    assert "HS-1, rev. 1 is published" in text_of(answer)
    assert Signature.objects.get().signer == quality
    # Pressed again, or by Back.
    answer = browse.post(at("scheme_publish", revision.pk), given, follow=True)
    assert "published and never changes" in text_of(answer)
    assert Signature.objects.count() == 1


def test_publishing_needs_the_reason_the_password_and_what_was_shown(browse):
    scope = make_scope()
    revision = make_revision(scope, published=False)
    page = browse.get(at("scheme_publish", revision.pk))
    shown = page.context["form"].showing.as_text()
    for given, sentence in (
        ({"shown": shown, "password": PASSWORD}, "Say why"),
        ({"shown": shown, "reason": "x"}, "Type your password"),
        ({"shown": shown, "reason": "x", "password": "wrong"}, "assword"),
        ({"reason": "x", "password": PASSWORD}, "came without what it showed"),
    ):
        answer = browse.post(at("scheme_publish", revision.pk), given)
        assert answer.status_code == 422
        assert sentence in text_of(answer)
    other = make_revision(scope)
    given = {"shown": shown, "reason": "x", "password": PASSWORD}
    answer = browse.post(at("scheme_publish", revision.pk), given)
    assert answer.status_code == 422
    assert f"Other schemes for {scope.code}" in text_of(answer)
    assert f"{scope.code} is covered by {other.name} too" in text_of(answer)
    revision.refresh_from_db()
    assert revision.is_draft


def test_whoever_saves_second_is_told_and_keeps_what_they_typed(browse, quality):
    revision = make_revision(make_scope(), published=False)
    mine = draft_sent(browse, revision, validity_months="36")
    theirs = scheme_drafts.draft_of(revision)
    scheme_drafts.change_draft(
        revision=revision,
        draft=scheme_drafts.replace(theirs, rules={**theirs.rules, "vision_months": 24}),
        seen=queries.draft_digest(revision),
        actor=make_user("instructor"),
        at=NOW,
    )
    answer = browse.post(at("scheme_change", revision.pk), mine)
    page = text_of(answer)
    assert answer.status_code == 422
    assert "changed the draft since you opened it" in page
    assert "Vision test good for, as it stands now: 24 months" in page
    assert 'value="36"' in page
    revision.refresh_from_db()
    assert (revision.validity_months, revision.vision_months) == (24, 24)

    answer = browse.post(at("scheme_change", revision.pk), fields_of(answer))
    assert answer.status_code == 302
    revision.refresh_from_db()
    assert (revision.validity_months, revision.vision_months) == (36, 0)


def test_a_title_that_was_published_stays_for_whoever_saves_second_too(browse):
    first = make_revision(make_scope())
    title = first.scheme.title
    browse.post(at("scheme_next", first.pk))
    second = SchemeRevision.objects.drafts().get()
    mine = draft_sent(browse, second, validity_months="36", title="Another")
    browse.post(at("scheme_change", second.pk), draft_sent(browse, second, vision_months="24"))
    answer = browse.post(at("scheme_change", second.pk), mine)
    assert "changed the draft since you opened it" in text_of(answer)
    answer = browse.post(at("scheme_change", second.pk), fields_of(answer))
    assert answer.status_code == 302
    second.refresh_from_db()
    assert (second.validity_months, second.scheme.title) == (36, title)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"validity_months": "0"}, "greater than or equal to 1"),
        ({"validity_months": "9" * 5000}, "Enter a whole number"),
        ({"reminder_steps": "soon"}, "Give days as whole numbers"),
        ({"reminder_steps": "4000"}, "none more than 3660 days"),
        ({"scopes": ["9" * 5000]}, "is not"),
        ({"asked-0-scope": "TERM"}, "Choose both the scope and the exercise"),
        ({"asked-TOTAL_FORMS": "x"}, "ManagementForm"),
    ],
)
def test_what_cannot_be_read_is_refused_with_a_sentence_and_nothing_is_stored(
    browse, changes, sentence
):
    make_scope(code="TERM")
    revision = make_revision(make_scope(), published=False)
    before = queries.state_of(revision)
    answer = browse.post(at("scheme_change", revision.pk), draft_sent(browse, revision, **changes))
    assert answer.status_code == 422
    assert sentence in text_of(answer)
    assert queries.state_of(SchemeRevision.objects.get(pk=revision.pk)) == before


def test_the_example_is_worked_out_as_figures_are_typed(browse):
    figures = {
        "validity_months": "24",
        "expiry_rule": "end_of_month",
        "renewal_window_days": "30",
        "vision_months": "0",
        "max_absence_months": "6",
        "reminder_steps": "90, 1",
    }
    answer = browse.get(at("scheme_example"), figures, headers={"HX-Request": "true"})
    page = text_of(answer)
    assert "<html" not in page
    assert "within 30 days before its end" in page
    assert "No vision test is asked for." in page
    unread = browse.get(at("scheme_example"), figures | {"validity_months": "0"})
    assert "Some figure cannot be read" in text_of(unread)


def test_a_published_revision_is_read_by_everybody_and_a_draft_by_those_who_draft(client):
    scope = make_scope()
    published, draft = make_revision(scope), make_revision(scope, published=False)
    client.force_login(make_user())
    page = text_of(client.get(at("scheme_list")))
    assert published.name in page
    assert draft.name not in page
    assert client.get(at("scheme_detail", draft.pk)).status_code == 404
    detail = text_of(client.get(at("scheme_detail", published.pk)))
    assert "Issued on" in detail
    assert "Draft the next revision" not in detail


def test_the_next_revision_tells_what_differs_and_what_publishing_leaves(browse, quality):
    scope, exercise = make_scope(), make_exercise()
    first = make_revision(scope, exercise=exercise)
    make_certificate(scope=scope, revision=first)
    answer = browse.post(at("scheme_next", first.pk))
    second = SchemeRevision.objects.drafts().get()
    assert answer.url == at("scheme_detail", second.pk)
    # Pressed twice, or in another window.
    answer = browse.post(at("scheme_next", first.pk), follow=True)
    assert "There is a draft already" in text_of(answer)
    browse.post(at("scheme_change", second.pk), draft_sent(browse, second, validity_months="12"))
    page = text_of(browse.get(at("scheme_publish", second.pk)))
    assert "<del>24 months</del>" in page
    assert "<ins>12 months</ins>" in page
    assert f"{first.name} retires. 1 certificate issued under it keeps its figures." in page


def test_a_draft_is_discarded_with_its_reason(browse):
    revision = make_revision(make_scope(), published=False)
    page = browse.get(at("scheme_detail", revision.pk))
    seen = page.context["discard_form"].initial["seen"]
    answer = browse.post(at("scheme_discard", revision.pk), {"seen": seen})
    assert answer.status_code == 422
    answer = browse.post(at("scheme_discard", revision.pk), {"seen": "x", "why": "Twice."})
    assert SchemeRevision.objects.exists()
    answer = browse.post(at("scheme_discard", revision.pk), {"seen": seen, "why": "Twice."})
    assert answer.url == at("scheme_list")
    assert not Scheme.objects.exists()


def test_a_revision_is_retired_with_reason_and_password(browse):
    revision = make_revision(make_scope())
    page = text_of(browse.get(at("scheme_detail", revision.pk)))
    assert "No other scheme in force covers these scopes" in page
    given = {"reason": "Superseded.", "password": "wrong"}
    assert browse.post(at("scheme_retire", revision.pk), given).status_code == 422
    given["password"] = PASSWORD
    answer = browse.post(at("scheme_retire", revision.pk), given, follow=True)
    assert "is retired." in text_of(answer)
    answer = browse.post(at("scheme_retire", revision.pk), given, follow=True)
    assert "is retired already" in text_of(answer)


def test_an_instructor_drafts_and_is_told_who_publishes(client, starters):
    client.force_login(make_user("instructor", password=PASSWORD))
    page = text_of(client.get(at("scheme_detail", starters["HS-OP"].pk)))
    assert "Quality publishes." in page
    assert "What publishing changes" not in page
    assert client.get(at("scheme_publish", starters["HS-OP"].pk)).status_code == 403
    answer = client.post(at("scheme_starter"), follow=True)
    assert "Scopes are kept by quality" in text_of(answer)


def test_where_a_site_asks_for_two_a_second_person_publishes(browse, quality):
    Site.objects.update(criteria_by_two=True)
    revision = make_revision(make_scope(), published=False, changed_by=quality, changed_at=NOW)
    assert "You changed it last." in text_of(browse.get(at("scheme_publish", revision.pk)))


# Scopes


def test_a_scope_is_made_changed_corrected_and_retired(browse):
    answer = browse.post(
        at("scope_new"),
        {"code": "HOOK", "title": "Hooks", "level": "operator", "joint_types": ["hook"]},
        follow=True,
    )
    assert "HOOK is made." in text_of(answer)
    assert "none: nobody can be certified" in text_of(answer)
    scope = Scope.objects.get()

    def sent(**changes):
        page = browse.get(at("scope_edit", scope.pk))
        values = {
            field.html_name: field.value()
            for field in page.context["form"]
            if field.value() is not None and not field.field.disabled
        }
        return values | {"shown": page.context["shown"]} | changes

    stale = sent(title="Hooks, stale")
    browse.post(at("scope_edit", scope.pk), sent(code="HOOK-OP"))
    scope.refresh_from_db()
    assert scope.code == "HOOK-OP"
    answer = browse.post(at("scope_edit", scope.pk), stale)
    assert "Somebody else changed this meanwhile" in text_of(answer)

    make_certificate(scope=scope)
    page = text_of(browse.get(at("scope_edit", scope.pk)))
    assert "It is used" in page
    assert "1 person" in page
    assert browse.post(at("scope_edit", scope.pk), sent(title="Hook terminals")).status_code == 422
    browse.post(
        at("scope_edit", scope.pk), sent(title="Hook terminals", reason="A slip.", code="X")
    )
    scope.refresh_from_db()
    assert (scope.title, scope.code) == ("Hook terminals", "HOOK-OP")

    shown = sent()["shown"]
    assert browse.post(at("scope_retire", scope.pk), {"shown": shown}).status_code == 422
    answer = browse.post(
        at("scope_retire", scope.pk), {"shown": shown, "reason": "No such work."}, follow=True
    )
    assert "HOOK-OP is retired." in text_of(answer)
    assert "Restore it" in text_of(browse.get(at("scope_edit", scope.pk)))
    answer = browse.post(at("scope_restore", scope.pk), {"reason": "It came back."}, follow=True)
    assert "is offered again" in text_of(answer)


def test_a_scope_of_a_code_that_is_there_is_refused_beside_its_field(browse):
    make_scope(code="HOOK")
    given = {"code": "hook", "title": "x", "level": "operator", "joint_types": ["hook"]}
    answer = browse.post(at("scope_new"), given)
    assert answer.status_code == 422
    assert "There is a scope HOOK already." in text_of(answer)


def test_what_no_page_of_ours_showed_changes_no_scope(browse):
    scope = make_scope()
    given = {"title": "x", "code": scope.code, "level": "operator", "joint_types": ["turret"]}
    for shown in ("", "[" * 100_000, "5", "{}"):
        answer = browse.post(at("scope_edit", scope.pk), given | {"shown": shown})
        assert answer.status_code == 422


def test_exercises_that_credit_a_scope_are_told(browse):
    scope, exercise = make_scope(), make_exercise(published=False)
    Position.objects.filter(exercise=exercise).update(scope_code=scope.code)
    publish_exercises(drafts={exercise.pk: None}, actor=None, at=NOW)
    page = text_of(browse.get(at("scope_edit", scope.pk)))
    assert "These exercises credit their joints to it by its code" in page
    assert exercise.code in page


# Operations


def test_operations_are_pasted_together_changed_and_removed(browse):
    scope, other = make_scope(code="TERM-OP"), make_scope(code="CUP-OP")
    assert "No operation yet" in text_of(browse.get(at("operation_list")))
    pasted = "operation\tscope\n0110-20\tTERM-OP\n0110-30; CUP-OP\n\nPress, right, TERM-OP\n"
    answer = browse.post(at("operation_add"), {"rows": pasted}, follow=True)
    assert "3 operations are added." in text_of(answer)
    assert set(Operation.objects.values_list("code", "scope__code")) == {
        ("0110-20", "TERM-OP"),
        ("0110-30", "CUP-OP"),
        ("Press, right", "TERM-OP"),
    }
    answer = browse.post(at("operation_add"), {"rows": pasted}, follow=True)
    assert "3 were there already." in text_of(answer)

    operation = Operation.objects.get(code="0110-20")
    shown = {"shown_code": "0110-20", "shown_scope": "TERM-OP"}
    given = {"code": "0110-21", "scope": other.code}
    assert browse.post(at("operation_edit", operation.pk), given | shown).status_code == 302
    stale = browse.post(at("operation_edit", operation.pk), {**given, **shown, "code": "0110"})
    assert "Somebody else changed this meanwhile" in text_of(stale)
    answer = browse.post(at("operation_remove", operation.pk), shown, follow=True)
    assert "Somebody else changed" in text_of(answer)
    shown = {"shown_code": "0110-21", "shown_scope": "CUP-OP"}
    answer = browse.post(at("operation_remove", operation.pk), shown, follow=True)
    assert "0110-21 is removed." in text_of(answer)
    assert scope.operations.count() == 1


def test_lines_that_do_not_fit_are_named_and_nothing_is_taken_in(browse):
    make_scope(code="TERM-OP")
    pasted = "\n".join(
        ["0110;TERM-OP", "0120;term-op", "0130", "0140;NONE", f"{'9' * 81};TERM-OP"]
        + [f"{n};NOT" for n in range(20)]
    )
    answer = browse.post(at("operation_add"), {"rows": pasted})
    page = text_of(answer)
    assert answer.status_code == 422
    assert "Line 2: there is no scope term-op; TERM-OP is one." in page
    assert "Line 3: give an operation and a scope" in page
    assert "Line 4: there is no scope NONE." in page
    assert "Line 5: the operation is too long" in page
    assert "14 more lines do not fit." in page
    assert not Operation.objects.exists()
    answer = browse.post(at("operation_add"), {"rows": "0110;TERM-OP\n" * 2001})
    assert "no more than 2000 lines" in text_of(answer)


def test_publishing_is_done_by_the_service_that_programs_use_too(starters):
    published = schemes.publish_scheme_revision(revision=starters["HS-IN"], actor=None, at=NOW)
    assert published.published_by is None
