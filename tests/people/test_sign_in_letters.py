"""Letters with a code for people without mail: printed, used once, told in the trail."""

import json
import re
from datetime import timedelta
from io import BytesIO

import pytest
from allauth.mfa.models import Authenticator
from django.db import connection
from django.http import HttpResponse
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from people.exceptions import PeopleError, ProofRefused, TabletRefused
from people.middleware import tablets as tablet_middleware
from people.models import BadgePin, Role, SignInCode, SiteRole, User
from people.presenters import own_sign_in, sign_in_letters
from people.queries.sign_in_codes import letter_lines
from people.services import people as people_services
from people.services import sign_in_codes as services
from people.services import sign_ins, tablets
from people.services.proof import prove_identity
from records.models import TrailEntry, TrailPayload
from tests.factories import NOW, PASSWORD, make_person, make_site, make_user

pytestmark = pytest.mark.django_db

OWN = "a lamp over the far bench"
LETTERS, CODE = reverse("people:letters"), reverse("people:printed_code")


@pytest.fixture
def administrator():
    return make_user("administrator", password=PASSWORD)


def printed(administrator, *people, at=NOW, with_pins=False):
    """Codes kept as a page that shows the people as they are now would have them."""
    drafts = services.draft_codes(people, with_pins=with_pins, at=at)
    seen = [line.seen for line in letter_lines(people, administrator, at)]
    services.keep_codes(drafts=drafts, seen=seen, actor=administrator, proof="password", at=at)
    return drafts


def choose(draft, at=NOW, number=None, code=None):
    row = services.code_for(
        number=number or draft.person.employee_number,
        code=code or draft.code,
        address="192.0.2.7",
        at=at,
    )
    return services.choose_password(code=row, password=OWN, address="192.0.2.7", at=at)


def test_a_code_opens_a_sign_in_and_is_kept_as_a_hash_alone(administrator):
    person = make_person()
    [draft] = printed(administrator, person, with_pins=True)

    user = User.objects.get(person=person)
    assert re.fullmatch(r"([a-z2-9]{4}-){4}[a-z2-9]{4}", draft.code)
    assert re.fullmatch(r"[0-9]{6}", draft.pin)
    assert not user.has_usable_password()
    assert not user.roles.exists()
    kept = str(list(SignInCode.objects.values())) + "".join(
        TrailPayload.objects.values_list("body", flat=True)
    )
    assert draft.code not in kept
    assert draft.code.replace("-", "") not in kept
    assert draft.pin not in re.findall(r"\b\d{6}\b", kept)


def test_its_holder_chooses_a_password_once(administrator):
    [draft] = printed(administrator, make_person())

    user = choose(draft, code=draft.code.upper().replace("-", " "))

    assert user.check_password(OWN)
    with pytest.raises(PeopleError, match=r"was used on 2026-11-25 13:50, from 192\.0\.2\.7"):
        choose(draft)


def test_the_trail_and_its_owner_read_who_printed_it_and_from_where_it_was_used(administrator):
    [draft] = printed(administrator, make_person())
    user = choose(draft)

    used = TrailEntry.objects.get(act=services.USED)
    assert json.loads(used.payload.body) == {
        "from": "192.0.2.7",
        "printed_by": administrator.employee_number,
    }
    said = [(line.words, line.details) for line in own_sign_in.lines(user)]
    assert ("Password chosen by the code of a letter", "from 192.0.2.7") in said
    assert ("Letter with a code printed", f"by {administrator}") in said


def test_a_new_letter_voids_the_one_before(administrator):
    person = make_person()
    [before] = printed(administrator, person)
    [after] = printed(administrator, person)

    with pytest.raises(PeopleError, match="void"):
        choose(before)
    assert choose(after).check_password(OWN)


def test_a_code_is_over_after_a_fortnight(administrator):
    [draft] = printed(administrator, make_person())

    assert services.code_for(
        number=draft.person.employee_number,
        code=draft.code,
        address="",
        at=NOW + services.LASTS - timedelta(seconds=1),
    )
    with pytest.raises(PeopleError, match=r"good until 2026-12-09 13:50.*another letter"):
        choose(draft, at=NOW + services.LASTS)


def test_wrong_codes_wait_and_are_told_in_the_trail(administrator):
    [draft] = printed(administrator, make_person())
    for _try in range(3):
        with pytest.raises(PeopleError, match="do not go together"):
            choose(draft, code="aaaa-bbbb-cccc-dddd-eeee")

    with pytest.raises(PeopleError, match="Too many wrong tries"):
        choose(draft)
    assert TrailEntry.objects.filter(act=services.REFUSED).count() == 3
    assert choose(draft, at=NOW + timedelta(minutes=5)).check_password(OWN)


def test_somebody_elses_code_opens_nothing(administrator):
    one, other = printed(administrator, make_person(), make_person())
    with pytest.raises(PeopleError, match="do not go together"):
        choose(one, code=other.code)


def test_a_number_that_was_changed_since_still_finds_its_code(administrator):
    [draft] = printed(administrator, make_person(employee_number="CD-9"))
    people_services.change_person(
        person=draft.person, actor=administrator, at=NOW, employee_number="CD-10"
    )
    assert choose(draft, number="CD-9").employee_number == "CD-10"


def test_a_one_time_password_ends_and_ones_own_stays_until_the_code_is_used(administrator):
    person, known = make_person(), make_user(password=PASSWORD)
    _user, once = sign_ins.open_sign_in(person=person, actor=administrator, at=NOW)
    printed(administrator, person, known.person)

    user = User.objects.get(person=person)
    assert not user.check_password(once)
    assert not user.password_is_one_time
    assert User.objects.get(pk=known.pk).check_password(PASSWORD)


def test_a_password_given_by_another_way_voids_the_letter(administrator):
    [draft] = printed(administrator, make_person())
    user = User.objects.get(person=draft.person)
    sign_ins.give_password(user=user, actor=administrator, at=NOW)
    with pytest.raises(PeopleError, match="void"):
        choose(draft)


def test_nothing_is_signed_before_a_password_is_chosen(administrator):
    [draft] = printed(administrator, make_person())
    user = User.objects.get(person=draft.person)
    with pytest.raises(ProofRefused):
        prove_identity(user, draft.code)


@pytest.mark.parametrize(
    ("who", "says"),
    [
        ("self", "Nobody prints a letter for themselves"),
        ("mail", "have a link sent"),
        ("left", "has left"),
        ("closed", "is closed"),
        ("elsewhere", "roles at another site"),
        ("another site", "is at another site"),
        ("superuser", "roles at another site"),
    ],
)
def test_who_gets_no_letter(administrator, who, says):
    there = make_site("Aldergate", "AL", time_zone="Europe/London")
    if who == "self":
        person = administrator.person
    elif who == "mail":
        person = make_person(email="mo@skarnfell.example")
    elif who == "left":
        person = make_person(left_on=NOW.date() - timedelta(days=1))
    elif who == "closed":
        person = make_user(is_active=False).person
    elif who == "elsewhere":
        user = make_user()
        SiteRole.objects.create(user=user, site=there, role=Role.QUALITY)
        person = user.person
    elif who == "another site":
        person = make_person(there)
    else:
        person = make_user(is_superuser=True).person
    before = TrailEntry.objects.count()

    with pytest.raises(PeopleError, match=says):
        printed(administrator, make_person(), person)
    assert not SignInCode.objects.exists()
    assert TrailEntry.objects.count() == before


def test_a_page_shown_before_somebody_else_printed_is_refused_whole(administrator):
    person, other = make_person(), make_person()
    seen = [line.seen for line in letter_lines([person, other], administrator, NOW)]
    [first] = printed(administrator, person)

    drafts = services.draft_codes([person, other], with_pins=False, at=NOW)
    with pytest.raises(PeopleError, match="since this page was shown"):
        services.keep_codes(drafts=drafts, seen=seen, actor=administrator, proof="password", at=NOW)
    assert choose(first).check_password(OWN)


# The first PIN


@pytest.fixture
def tablet(administrator):
    return tablets.declare_tablet(
        site=administrator.person.site, name="Bench room 2", actor=administrator, at=NOW
    )


def at_tablet(client, tablet):
    response = HttpResponse()
    tablet_middleware.set_cookie(response, *tablet)
    client.cookies.update(response.cookies)


def test_a_printed_pin_only_leads_to_choosing_one(client, administrator, tablet):
    [draft] = printed(administrator, make_person(), at=timezone.now(), with_pins=True)
    at_tablet(client, tablet)
    open_at = reverse("people:tablet_open")

    page = client.post(open_at, {"badge": draft.person.employee_number, "pin": draft.pin})
    assert "Choose your PIN" in page.text
    assert "_auth_user_id" not in client.session

    [token] = re.findall(r'name="printed" value="([^"]+)"', page.text)
    same = client.post(open_at, {"printed": token, "pin": draft.pin, "again": draft.pin})
    assert same.status_code == 422
    assert "This is the PIN you were given" in same.text

    answer = client.post(open_at, {"printed": token, "pin": "2580", "again": "2580"})
    assert answer.url == "/"
    user = User.objects.get(person=draft.person)
    assert client.session["_auth_user_id"] == str(user.pk)
    assert BadgePin.objects.filter(user=user).count() == 1
    entry = TrailEntry.objects.get(act=services.PIN_USED)
    assert json.loads(entry.payload.body) == {"printed_by": administrator.employee_number}

    with pytest.raises(PeopleError, match="no longer works"):
        tablets.choose_pin(code_id=SignInCode.objects.get().pk, pin="2589", at=timezone.now())
    with pytest.raises(TabletRefused, match="do not go together"):
        tablets.open_by_badge(
            tablet=tablet[0],
            badge=draft.person.employee_number,
            pin=draft.pin,
            at=timezone.now(),
        )


def test_a_token_that_nobody_gave_chooses_no_pin(client, administrator, tablet):
    at_tablet(client, tablet)
    answer = client.post(
        reverse("people:tablet_open"), {"printed": "1", "pin": "2580", "again": "2580"}
    )
    assert answer.status_code == 422
    assert "Give badge and printed PIN once more" in answer.text


# Pages and paper


def ticked(people, administrator):
    return [line.seen for line in letter_lines(people, administrator, timezone.now())]


def choose_from_page(client, person, code):
    """Whose password is set by what is read off the paper."""
    client.logout()
    client.post(
        CODE,
        {"number": person.employee_number, "code": code, "password": OWN, "again": OWN},
    )
    return User.objects.get(person=person)


def test_letters_are_made_and_printed_in_one_act(client, administrator):
    people = [make_person(full_name="Ari Vance"), make_person(full_name="Bo Quill", language="de")]
    client.force_login(administrator)

    assert len(client.get(LETTERS, {"all": "1"}).context["ticked"]) == 2
    answer = client.post(
        LETTERS,
        {
            "ticked": ticked(people, administrator),
            "paper": "letters",
            "with_pins": "on",
            "password": PASSWORD,
        },
    )

    assert answer["Content-Type"] == "application/pdf"
    reader = PdfReader(BytesIO(answer.content))
    assert len(reader.pages) == 2
    ari, bo = (page.extract_text() for page in reader.pages)
    assert "Ari Vance" in ari
    assert "Mitarbeiternummer" not in ari
    assert "Personalnummer" in bo
    code = re.search(r"([a-z2-9]{4}-){4}[a-z2-9]{4}", re.sub(r"[\s\u200b]", "", ari))
    assert code
    assert choose_from_page(client, people[0], code[0]).has_usable_password()
    client.force_login(administrator)
    again = client.get(LETTERS, {"all": "1"})
    assert again.context["ticked"] == set()  # One has a password, the other a letter.
    assert "not used, good until" in again.text


def test_a_wrong_password_prints_nothing(client, administrator):
    person = make_person()
    client.force_login(administrator)
    answer = client.post(
        LETTERS,
        {"ticked": ticked([person], administrator), "paper": "cards", "password": "wrong"},
    )
    assert answer.status_code == 422
    assert "That is not your password" in answer.text
    assert not SignInCode.objects.exists()


def test_nobody_ticked_and_a_line_of_another_page_are_refused(client, administrator):
    client.force_login(administrator)
    make_person()
    for sent, says in (({}, "Tick whom"), ({"ticked": ["99999.0"]}, "no longer on this page")):
        answer = client.post(LETTERS, {"paper": "cards", "password": PASSWORD, **sent})
        assert says in answer.text


def test_eight_cards_stand_on_a_page(administrator):
    people = [make_person() for _ in range(9)]
    drafts = services.draft_codes(people, with_pins=True, at=NOW)
    pdf = sign_in_letters.letters_pdf(
        drafts, kind=sign_in_letters.CARDS, actor=administrator, at=NOW
    )
    reader = PdfReader(BytesIO(pdf))
    assert len(reader.pages) == 2
    assert all(draft.person.full_name in reader.pages[0].extract_text() for draft in drafts[:8])


def test_the_code_travels_behind_the_hash_sign():
    address = sign_in_letters.code_address("C D-9", "abcd-efgh")
    assert address.endswith("/code/#number=C+D-9&code=abcd-efgh")


def test_the_page_sets_the_password_and_signs_in(client, administrator):
    [draft] = printed(administrator, make_person(), at=timezone.now())
    sent = {"number": draft.person.employee_number, "code": draft.code}

    short = client.post(CODE, sent | {"password": "short", "again": "short"})
    assert short.status_code == 422
    assert "too short" in short.text
    differ = client.post(CODE, sent | {"password": OWN, "again": PASSWORD})
    assert "The two differ" in differ.text
    answer = client.post(CODE, sent | {"password": OWN, "again": OWN})

    assert (answer.status_code, answer.url) == (302, "/")
    user = User.objects.get(person=draft.person)
    assert client.session["_auth_user_id"] == str(user.pk)
    spent = client.post(CODE, sent | {"password": OWN, "again": OWN})
    assert spent.status_code == 422
    assert "is signed in here" in spent.text


def test_whoever_has_a_role_that_needs_a_second_factor_sets_one_up_next(client, administrator):
    lead = make_user("line_lead")
    site = lead.person.site
    site.second_factor_roles = ["line_lead"]
    site.save()
    [draft] = printed(administrator, lead.person, at=timezone.now())
    sent = {"number": draft.person.employee_number, "code": draft.code}
    client.post(CODE, sent | {"password": OWN, "again": OWN})
    assert client.get("/").url == reverse("people:second_factor")


def test_whom_the_list_shows(client, administrator):
    named = {
        "Ari Vance": make_person(full_name="Ari Vance"),
        "Bo Quill": make_person(full_name="Bo Quill", email="bo@skarnfell.example"),
        "Cy Marsh": make_user(password=PASSWORD, person=make_person(full_name="Cy Marsh")).person,
    }
    client.force_login(administrator)

    def shown(**asked):
        text = client.get(LETTERS, asked).text
        return {name for name in named if name in text}

    assert shown() == {"Ari Vance"}
    assert shown(who="mail") == {"Ari Vance", "Cy Marsh"}
    assert shown(who="all") == set(named)
    assert shown(number=named["Cy Marsh"].employee_number) == {"Cy Marsh"}
    assert shown(q="nobody at all") == set()


def test_whoever_has_a_second_factor_gives_it_after_the_code(client, administrator):
    user = make_user()
    Authenticator.objects.create(user=user, type=Authenticator.Type.TOTP, data={"secret": "x"})
    [draft] = printed(administrator, user.person, at=timezone.now())
    sent = {"number": draft.person.employee_number, "code": draft.code}
    answer = client.post(CODE, sent | {"password": OWN, "again": OWN})
    assert answer.url == reverse("mfa_authenticate")
    assert "_auth_user_id" not in client.session


def test_the_list_is_read_with_the_same_queries_however_long(client, administrator):
    client.force_login(administrator)
    client.get(LETTERS)  # Its session is written once.
    counts = []
    for number in (2, 12):
        printed(administrator, *[make_person() for _ in range(number)], at=timezone.now())
        with CaptureQueriesContext(connection) as queries:
            assert client.get(LETTERS).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_a_letter_opens_no_roles_that_whoever_printed_it_does_not_answer_for(administrator):
    promoted, other_one = printed(administrator, make_person(), make_person(), with_pins=True)
    other = make_site("Other", "OT")
    SiteRole.objects.create(
        user=promoted.person.user, site=other, role=Role.QUALITY, recorded_at=NOW
    )
    code = SignInCode.objects.get(user=promoted.person.user)
    with pytest.raises(PeopleError, match="could not print it now"):
        choose(promoted)
    with pytest.raises(PeopleError, match="no longer works"):
        services.lock_first_pin(code.pk, NOW)
    administrator.roles.all().delete()
    with pytest.raises(PeopleError, match="could not print it now"):
        choose(other_one)
