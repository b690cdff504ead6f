"""The template tags of the look: words beside shapes, unbroken days, safe drawings."""

import datetime as dt
import re
from decimal import Decimal
from fractions import Fraction

import pytest
from django import forms
from django.core.paginator import Paginator
from django.template import Context, Template
from django.utils import timezone, translation

from people.templatetags import look

DAY = dt.date(2026, 11, 25)
AT = dt.datetime(2026, 11, 25, 23, 30, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def english():
    with translation.override("en"):
        yield


def render(source, **context):
    return Template("{% load look %}" + source).render(Context(context))


def test_identifier_is_kept_in_one_piece_and_its_characters_stay_as_they_are():
    shown = render("{{ number|unbroken }}", number="CA-B-00077<")
    assert shown == '<span class="unbroken">CA-B-00077&lt;</span>'


def words(html):
    return " ".join(re.sub(r"<[^>]+>", " ", html).replace("\u00a0", " ").split())


@pytest.mark.parametrize(
    ("standing", "shape", "tone", "word"),
    [
        ("certified", "m-certified", "is-accept", "certified"),
        ("ending", "m-ending", "is-accept", "certified"),
        ("expired", "m-expired", "is-none", "expired"),
        ("vision_not_current", "m-vision", "is-caution", "vision not current"),
        ("practice_lapsed", "m-lapsed", "is-caution", "practice lapsed"),
        ("suspended", "m-suspended", "is-reject", "suspended"),
        ("revoked", "m-revoked", "is-reject", "revoked"),
        ("never_certified", "m-never", "is-none", "never certified"),
        ("unknown_person", "m-unknown", "is-none", "nobody has this number"),
    ],
)
def test_standing_shows_its_shape_and_its_word(standing, shape, tone, word):
    html = look.standing_word(standing)

    assert f"#{shape}" in html
    assert tone in html
    assert words(html) == word


def test_certified_that_ends_soon_changes_shape_and_keeps_the_word():
    html = look.standing_word("certified", ends_soon=True, note="ends in 23 days")

    assert "#m-ending" in html
    assert words(html) == "certified ends in 23 days"


def test_only_a_certified_standing_can_end_soon():
    assert "#m-expired" in look.standing_word("expired", ends_soon=True)


def test_standing_of_an_unknown_name_is_shown_as_a_word():
    assert words(look.standing_word("on_leave")) == "on leave"


@pytest.mark.parametrize(
    ("outcome", "shape", "word"),
    [
        ("accept", "m-accept", "accept"),
        ("accepted_with_remarks", "m-remarks", "accepted with remarks"),
        ("reject", "m-reject", "reject"),
        ("not_applicable", "m-na", "not applicable"),
        ("too close to call", "m-close", "too close to call"),
        (None, "m-open", "open"),
        ("", "m-open", "open"),
    ],
)
def test_verdict_shows_its_shape_and_its_word(outcome, shape, word):
    html = look.verdict_word(outcome)

    assert f"#{shape}" in html
    assert words(html) == word


def test_note_beside_a_verdict_is_escaped():
    assert "<script>" not in look.verdict_word("reject", note="<script>alert(1)</script>")


def test_long_day_does_not_break_and_carries_the_date():
    assert look.long_day(DAY) == '<time datetime="2026-11-25">Wed\u00a025\u00a0Nov\u00a02026</time>'


def test_long_day_is_written_as_in_the_language_of_the_page():
    with translation.override("de"):
        assert "Mi,\xa025.11.2026" in look.long_day(DAY)
        assert "Mi" in look.long_day(DAY)


def test_day_of_an_instant_is_read_in_the_current_zone():
    madrid = dt.timezone(dt.timedelta(hours=1))
    with timezone.override(madrid):
        assert "26" in look.short_day(AT)
    with timezone.override(dt.UTC):
        assert "25" in look.short_day(AT)


def test_missing_day_shows_a_dash():
    assert look.long_day(None) == "–"
    assert look.short_day("") == "–"


def test_instant_is_shown_in_the_zone_of_the_site():
    assert words(look.instant(AT, "Europe/Madrid")) == "Thu 26 Nov 2026, 00:30 CET"
    assert words(look.instant(AT, "Europe/London")) == "Wed 25 Nov 2026, 23:30 GMT"


@pytest.mark.parametrize(
    ("days", "text"),
    [
        (0, "today"),
        (1, "tomorrow"),
        (-1, "yesterday"),
        (7, "in 7 days"),
        (-2, "2 days ago"),
    ],
)
def test_distance_of_a_day_is_said_in_words(days, text):
    assert words(look.in_days(DAY + dt.timedelta(days=days), DAY)) == text


def test_distance_without_a_day_says_nothing():
    assert look.in_days(None, DAY) == ""


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (Decimal("79.95"), "79.9"),
        (Fraction(7995, 100), "79.9"),
        (Fraction(239, 3), "79.6"),
        (80, "80.0"),
        (100, "100.0"),
        (0, "0.0"),
        (None, "–"),
    ],
)
def test_score_is_rounded_down_to_one_decimal(value, shown):
    assert look.score(value) == shown


def test_measured_value_carries_twice_its_standard_uncertainty():
    assert words(look.measured(148.04, 1.23, "°")) == "148.0° ± 2.5°"
    assert words(look.measured(0.8512, 0.0115, "mm")) == "0.851 mm ± 0.023 mm"
    assert look.measured(None, 1, "mm") == "–"


def test_known_drawing_is_put_into_the_page(settings, tmp_path):
    folder = tmp_path / "img" / "drawings"
    folder.mkdir(parents=True)
    (folder / "post-sound.svg").write_text(
        '<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 160 120"'
        ' aria-label="A sound post"><title>A sound post</title><circle cx="1" cy="2" r="3"/></svg>'
    )
    settings.STATICFILES_DIRS = [tmp_path]

    html = look.drawing("post-sound")

    assert html.startswith('<svg class="drawing" viewBox="0 0 160 120" role="img"')
    assert 'aria-label="A sound post"' in html
    assert "<circle" in html
    assert "<title>" not in html
    assert "xml version" not in html
    assert 'aria-hidden="true"' in look.drawing("post-sound", decorative=True)
    assert 'aria-label="Ein Pfosten"' in look.drawing("post-sound", label="Ein Pfosten")


@pytest.mark.parametrize("name", ["no-such-drawing", "../../secret", "", None, "<b>x</b>"])
def test_unknown_drawing_is_an_empty_frame_with_its_name(name):
    html = look.drawing(name)

    assert "is-missing" in html
    assert "<b>" not in html


def test_decoration_that_is_missing_leaves_no_trace():
    assert look.drawing("no-such-drawing", decorative=True) == ""


def test_qr_code_is_drawn_without_a_style_and_is_described():
    html = look.qr("https://jointworthy.example/c/CA-C-00012", label="Opens the certificate")

    assert html.startswith('<svg role="img" aria-label="Opens the certificate"')
    assert "style=" not in html
    assert 'class="qr-code"' in html


class NameForm(forms.Form):
    name = forms.CharField(widget=forms.TextInput(attrs={"placeholder": "Name"}))


def test_control_is_marked_when_refused_and_has_no_placeholder():
    html = render("{% control form.name %}", form=NameForm({"name": ""}))

    assert 'class="form-control is-invalid"' in html
    assert 'aria-describedby="id_name_error"' in html
    assert "placeholder" not in html


def test_placeholders_are_taken_from_a_form():
    html = render("{{ form|without_placeholders }}", form=NameForm())

    assert "placeholder" not in html
    assert 'name="name"' in html


def test_page_numbers_leave_out_the_middle():
    page = Paginator(range(312), 10).get_page(5)

    assert look.page_numbers(page) == [1, "…", 4, 5, 6, "…", 32]
