"""What a page carries of what it showed, and that every form under a signature carries it."""

import base64
import json
import pkgutil
import zlib
from datetime import UTC, datetime
from importlib import import_module

import pytest
from hypothesis import given
from hypothesis import strategies as st

from people.forms.fields import PasswordField
from people.forms.signing import SigningForm, SigningListForm
from records.domain.shown import MOST_BYTES, Change, Line, NotReadable, Shown, changes, shown_in
from records.exceptions import ShownOtherwise
from records.services.shown import refuse_unless_shown

AT = datetime(2026, 11, 25, 12, 50, 0, 123456, tzinfo=UTC)
TEXTS = st.text(st.characters(codec="utf-8"), max_size=40)


@given(st.dictionaries(TEXTS, st.builds(Line, TEXTS, TEXTS), max_size=12))
def test_a_page_gets_back_what_it_carried(lines):
    shown = Shown("a" * 64, AT, lines)
    assert shown_in(shown.as_text()) == shown
    assert list(shown_in(shown.as_text()).lines) == list(lines)
    assert changes(shown, shown_in(shown.as_text())) == []


def packed(value) -> str:
    return base64.b64encode(zlib.compress(json.dumps(value).encode())).decode()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "x",
        "bm90aGluZw==",
        "ä",
        packed(1),
        packed(["a"]),
        packed(["a", "yesterday", []]),
        packed(["a", "2026-11-25T12:50:00", []]),
        packed(["a", AT.isoformat(), [["one"]]]),
        packed([[], AT.isoformat(), {"a": 1}]),
        packed("x" * (MOST_BYTES + 1)),
        packed(["a", AT.isoformat(), []])[:-8],
        packed([[[[]]]] * 3),
    ],
)
def test_what_no_page_carried_is_not_read(text):
    with pytest.raises(NotReadable):
        shown_in(text)


def test_differences_are_told_in_the_order_of_what_is_said_now():
    before = Shown(
        "a", AT, {"E01": Line("accept"), "E02": Line("accept", "12:00"), "E09": Line("")}
    )
    now = Shown(
        "b", AT, {"E03": Line("open"), "E02": Line("reject", "12:39"), "E01": Line("accept")}
    )
    assert changes(before, now) == [
        Change("E03", "", "open"),
        Change("E02", "accept", "reject", "12:39"),
    ]
    assert changes(now, before)[-1] == Change("E03", "open", "")


def test_what_would_be_signed_is_compared_and_only_where_a_page_was_shown():
    refuse_unless_shown(None, {"a": 1})
    refuse_unless_shown(
        "015abd7f5cc57a2dd94b7590f04ad8084273905ee33ec5cebeae62276a97f862", {"a": 1}
    )
    for shown in ("", "015abd7f5cc57a2d"):
        with pytest.raises(ShownOtherwise, match="so nothing was signed"):
            refuse_unless_shown(shown, {"a": 1})


ELSEWHERE_OR_NOTHING = {
    # Their lists carry what is shown of each line, which their views hand to the service.
    "certification.forms.proposals.ProposeTogetherForm",
    "certification.forms.proposals.IssueTogetherForm",
    # What is retired was published, and never changes.
    "assessments.forms.criteria.RetiringForm",
    "assessments.forms.written_tests.RetireTestForm",
    "certification.forms.schemes.RetireSchemeForm",
    "training.forms.exercises.RetiringForm",
}


@pytest.mark.parametrize("app", ["training", "assessments", "certification"])
def test_every_form_that_asks_for_proof_carries_what_its_page_shows(app):
    """A form of these apps with a password is one under a signature."""
    package = import_module(f"{app}.forms")
    found = set()
    for module in pkgutil.iter_modules(package.__path__, f"{app}.forms."):
        for form in vars(import_module(module.name)).values():
            fields = getattr(form, "base_fields", None)
            if fields is None or form.__module__ != module.name:
                continue
            if any(isinstance(field, PasswordField) for field in fields.values()):
                found.add(form)
    assert found
    for form in found:
        name = f"{form.__module__}.{form.__name__}"
        assert issubclass(form, SigningForm | SigningListForm) or name in ELSEWHERE_OR_NOTHING, name
