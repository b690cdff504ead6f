"""The pages of evidence packs, and the command that makes one without them."""

import os
import zipfile
from datetime import date, timedelta
from io import BytesIO, StringIO

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils import timezone

from audit.models import EvidencePack
from audit.presenters.pack_contents import PackContents
from audit.services import evidence_packs as services
from audit.services.pack_file import PackFile
from people.models import Person, SiteRole
from people.services.erasing import erase_person
from tests import factories
from tests.audit import packs

pytestmark = pytest.mark.django_db

PAGE = reverse("audit:evidence_packs")


@pytest.fixture
def evidence(client):
    evidence = packs.make_evidence(photos=1)
    client.force_login(evidence.quality)
    return evidence


def build(pack):
    services.build_pack(pack_id=pack.pk, clock=timezone.now, contents_of=PackContents)
    pack.refresh_from_db()
    return pack


def test_pack_is_asked_for_followed_and_taken(client, evidence):
    asked = f"{PAGE}?certificate={evidence.certificate.number}"
    page = client.get(asked).content.decode()
    assert "Everything behind certificate" in page

    response = client.post(asked, {})

    pack = EvidencePack.objects.get()
    assert response["Location"] == reverse("audit:evidence_pack", args=[pack.number])
    address = response["Location"]
    assert "Waits for a worker" in client.get(address).content.decode()
    assert client.get(f"{address[:-1]}.zip").status_code == 404
    assert build(pack).state == "finished"
    progress = client.get(address, headers={"HX-Request": "true", "HX-Target": "progress"})
    assert progress["HX-Refresh"] == "true"
    page = client.get(address).content.decode()
    assert pack.seal in page
    assert pack.head.entry_hash in page
    taken = client.get(reverse("audit:evidence_pack_file", args=[pack.number]))
    assert taken["Content-Disposition"] == f'attachment; filename="{pack.number}.zip"'
    with zipfile.ZipFile(BytesIO(b"".join(taken.streaming_content))) as archive:
        assert f"{pack.number}/bagit.txt" in archive.namelist()
    assert pack.number in client.get(PAGE).content.decode()


def test_pressing_twice_makes_one_pack(client, evidence):
    asked = f"{PAGE}?board={evidence.board.number}"
    assert client.post(asked, {})["Location"] == client.post(asked, {})["Location"]
    assert EvidencePack.objects.count() == 1
    client.post(f"{PAGE}?person={evidence.person.employee_number}", {})
    assert EvidencePack.objects.count() == 2


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({}, "This field is required"),
        ({"first_day": "2026-02-02", "last_day": "2026-02-01"}, "swap them"),
        (
            {"first_day": "2026-02-02", "last_day": "2026-02-02", "known_on": "2100-01-01"},
            "give an earlier time",
        ),
        (
            {"first_day": "2026-02-02", "last_day": "2026-02-02", "known_time": "10:00"},
            "Say on which day",
        ),
    ],
    ids=["days", "order", "future", "time"],
)
def test_question_that_says_too_little_is_asked_again(client, evidence, data, said):
    response = client.post(PAGE, data)
    assert response.status_code == 422
    assert said in response.content.decode()
    assert not EvidencePack.objects.exists()


def test_pages_of_things_lead_to_their_packs_for_quality_alone(client, evidence):
    pages = {
        f"?certificate={evidence.certificate.number}": reverse(
            "certification:certificate_detail", args=[evidence.certificate.number]
        ),
        f"?board={evidence.board.number}": reverse(
            "assessments:board_detail", args=[evidence.board.number]
        ),
        f"?person={evidence.person.employee_number}": reverse(
            "people:person_detail", args=[evidence.person.employee_number]
        ),
    }
    for query, address in pages.items():
        assert PAGE + query in client.get(address).content.decode()
    client.force_login(factories.make_user("instructor"))
    for query, address in pages.items():
        assert PAGE + query not in client.get(address).content.decode()


def test_pack_of_two_sites_is_read_by_quality_of_both(client, evidence):
    there = factories.make_site("Aldergate", "AL")
    SiteRole.objects.create(user=evidence.quality, site=there, role="quality")
    pack = packs.request(evidence)
    address = reverse("audit:evidence_pack", args=[pack.number])
    assert client.get(address).status_code == 200

    client.force_login(factories.make_user("quality"))
    assert client.get(address).status_code == 404
    assert pack.number not in client.get(PAGE).content.decode()


def test_file_goes_after_its_time_and_the_row_stays(client, evidence):
    pack = packs.build(packs.request(evidence))
    assert services.throw_away_old(packs.LATER + timedelta(days=29)) == 0
    assert services.throw_away_old(packs.LATER + timedelta(days=31)) == 1
    pack.refresh_from_db()
    assert pack.state == "gone"
    address = reverse("audit:evidence_pack", args=[pack.number])
    assert "thrown away" in client.get(address).content.decode()
    assert client.get(reverse("audit:evidence_pack_file", args=[pack.number])).status_code == 404


def test_what_workers_that_died_left_of_packs_goes_at_night(evidence):
    kept = packs.build(packs.request(evidence))
    begun, given_up = (
        packs.request(evidence, **{about: getattr(evidence, about)})
        for about in ("board", "person")
    )
    for pack in (begun, given_up):
        PackFile(services.work_folder(pack), pack.number).close()
    EvidencePack.objects.filter(pk=given_up.pk).update(finished_at=packs.LATER, failure="No.")
    old, new = (
        default_storage.save(f"evidence-packs/aa/{name}.zip", ContentFile(b"x"))
        for name in ("old", "new")
    )
    then = timezone.now()
    os.utime(default_storage.path(old), times=(then.timestamp() - 2 * 86_400,) * 2)

    services.throw_away_old(then)

    assert services.work_folder(begun).is_dir()
    assert not services.work_folder(given_up).exists()
    assert default_storage.exists(kept.file.name)
    assert [default_storage.exists(name) for name in (old, new)] == [False, True]


def test_erasing_a_name_throws_away_the_packs_about_them(
    evidence, django_capture_on_commit_callbacks
):
    about = [packs.build(packs.request(evidence))]
    about += [packs.build(packs.request(evidence, board=evidence.board))]
    other = packs.build(packs.request(evidence, person=factories.make_person()))
    Person.objects.filter(pk=evidence.person.pk).update(left_on=date(2026, 1, 15))
    with django_capture_on_commit_callbacks(execute=True):
        erase_person(
            person=evidence.person, reason="Asked for.", actor=evidence.quality, at=packs.LATER
        )
    states = {pack.pk: pack.state for pack in EvidencePack.objects.all()}
    assert states == {about[0].pk: "gone", about[1].pk: "gone", other.pk: "finished"}
    assert [default_storage.exists(pack.file.name) for pack in (*about, other)] == [
        *(False, False, True),
    ]


# The command


def run(*arguments):
    out = StringIO()
    call_command("evidence_pack", *arguments, stdout=out)
    return out.getvalue()


def test_command_writes_the_pack(evidence, tmp_path):
    file = tmp_path / "pack.zip"
    by = evidence.quality.employee_number
    said = run("--by", by, "--certificate", evidence.certificate.number, "--output", str(file))
    pack = EvidencePack.objects.get()
    assert pack.seal in said
    assert pack.head.entry_hash in said
    assert zipfile.ZipFile(file).testzip() is None

    with pytest.raises(CommandError, match="is there already"):
        run("--by", by, "--board", evidence.board.number, "--output", str(file))
    again = tmp_path / "again.zip"
    run("--by", by, "--go-on", pack.number, "--output", str(again))
    assert again.read_bytes() == file.read_bytes()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--by", "nobody", "--board", "x"), "Nobody signs in"),
        (("--by", "{quality}", "--board", "x"), "There is no board x"),
        (("--by", "{operator}", "--board", "{board}"), "is not quality where"),
        (("--by", "{quality}", "--board", "{board}", "--scope", "x"), "go with --from"),
        (("--by", "{quality}", "--from", "2026-01-01"), "through which day"),
    ],
    ids=["who", "thing", "role", "scope", "through"],
)
def test_command_refuses_what_it_cannot_do(evidence, tmp_path, arguments, said):
    words = {
        "quality": evidence.quality.employee_number,
        "operator": factories.make_user(person=evidence.person).employee_number,
        "board": evidence.board.number,
    }
    file = tmp_path / "pack.zip"
    with pytest.raises(CommandError, match=said):
        run(*(argument.format(**words) for argument in arguments), "--output", str(file))
    assert not file.exists()
    assert not EvidencePack.objects.exists()
