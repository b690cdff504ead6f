"""Evidence packs: what is in one, that anybody can check it, and that a broken one is found."""

import csv
import hashlib
import json
import re
import subprocess
import sys
from copy import deepcopy
from datetime import date, timedelta
from pathlib import Path

import bagit
import pytest
from django.core.files.storage import default_storage

from assessments.models import Board
from audit.exceptions import CannotPack
from audit.models import EvidencePack
from audit.presenters import verify_pack
from people.models import Person, SiteRole
from people.services.erasing import erase_person
from records.services import trail
from tests import factories
from tests.audit import packs
from tests.factories import NOW
from tests.kept_rows import taken_back_after
from training.models import VisionTest

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module", autouse=True)
def kept_evidence(django_db_setup, django_db_blocker):
    with taken_back_after(django_db_blocker):
        yield packs.make_evidence()


@pytest.fixture
def evidence(kept_evidence, db):
    return deepcopy(kept_evidence)


@pytest.fixture(scope="module")
def made(kept_evidence, django_db_blocker):
    """A pack with its file, of which no row is left for the tests that ask for others."""
    with taken_back_after(django_db_blocker):
        pack = packs.build(packs.request(deepcopy(kept_evidence)))
        assert pack.head
    return pack


@pytest.fixture
def photo_files(evidence):
    """The files of the photographs, which a test may spoil: they are put back as rows are."""
    paths = [Path(photo.original.path) for photo in evidence.photos]
    content = {path: path.read_bytes() for path in paths}
    yield
    for path, kept in content.items():
        path.write_bytes(kept)


@pytest.fixture
def folder(made, tmp_path):
    return packs.unpack(made, tmp_path)


def rows_of(folder, name):
    with open(folder / f"data/tables/{name}.csv", encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def verify(folder, *arguments):
    done = subprocess.run(
        [sys.executable, "-I", str(folder / "verify_pack.py"), *arguments],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    return done.returncode, done.stdout + done.stderr


def head_of(pack):
    return f"{pack.head_id}-{pack.head.entry_hash[:16]}"


def test_pack_is_a_bag_that_others_verify(made, folder):
    assert made.state == "finished"
    bagit.Bag(str(folder)).validate()
    for manifest in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
        subprocess.run(["sha256sum", "--strict", "--quiet", "-c", manifest], cwd=folder, check=True)
    code, said = verify(folder, head_of(made), made.seal)
    assert code == 0, said
    assert "Everything fits." in said


def every_fault(folder, head, seal=""):
    return [
        *verify_pack.bag_faults(folder, seal),
        *verify_pack.trail_faults(folder, head),
        *verify_pack.signature_faults(folder),
        *verify_pack.photograph_faults(folder),
        *verify_pack.judgement_faults(folder),
    ]


def test_any_file_that_is_altered_added_or_taken_away_is_found(made, folder):
    names = sorted(path for path in folder.rglob("*") if path.is_file())
    assert len(names) > 25
    for path in names:
        content = path.read_bytes()
        path.write_bytes(content[:-1] + bytes([content[-1] ^ 1]))
        assert list(verify_pack.bag_faults(folder, made.seal)), path
        path.unlink()
        if path.name not in ("manifest-sha256.txt", "tagmanifest-sha256.txt"):
            assert list(verify_pack.bag_faults(folder, made.seal)), path
        path.write_bytes(content)
    (folder / "data" / "more.csv").write_text("x")
    assert list(verify_pack.bag_faults(folder, made.seal)) == [
        "data/more.csv does not belong to the pack."
    ]


def make_manifests_anew(folder):
    """What somebody does who alters a pack and knows what a bag is."""
    for name, files in (
        ("manifest-sha256.txt", sorted((folder / "data").rglob("*"))),
        ("tagmanifest-sha256.txt", sorted(folder.glob("*"))),
    ):
        lines = [
            f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.relative_to(folder)}\n"
            for path in files
            if path.is_file() and path.name != "tagmanifest-sha256.txt"
        ]
        (folder / name).write_text("".join(lines))


def change(path, before, after):
    text = path.read_text()
    assert before in text
    path.write_text(text.replace(before, after, 1))


def change_line(path, change_it, where=lambda line: True):
    lines = [json.loads(line) for line in path.read_text().splitlines()]
    change_it(next(line for line in lines if where(line)))
    path.write_text("".join(f"{verify_pack.canonical(line)}\n" for line in lines))


def accept_becomes_reject(folder):
    change(folder / "data/tables/judgements.csv", ",accept,", ",reject,")


def a_judgement_goes(folder):
    path = folder / "data/tables/judgements.csv"
    path.write_text("\n".join(path.read_text().splitlines()[:-1]) + "\n")


def a_note_becomes_another(folder):
    change(folder / "data/tables/judgements.csv", "'=looks well", "'=looks fine")


def signed_text_becomes_another(folder):
    change(folder / "data/signatures.jsonl", "accept", "reject")


def signed_text_and_its_hash_become_another(folder):
    def alter(line):
        line["content"] = line["content"].replace("accept", "reject")
        line["content_sha256"] = hashlib.sha256(line["content"].encode()).hexdigest()

    change_line(folder / "data/signatures.jsonl", alter)


def signed_text_becomes_another_whose_details_are_left_out(folder):
    def leave_out(line):
        del line["payload"], line["salt"]

    signed_text_and_its_hash_become_another(folder)
    is_signed = lambda line: line["entry"]["act"] == "signed"  # noqa: E731
    change_line(folder / "data/trail.jsonl", leave_out, where=is_signed)
    accept_becomes_reject(folder)


def results_become_another_boards(folder):
    path = folder / "data/tables/judgements.csv"
    path.write_text(path.read_text().replace(",CA-B-", ",CA-B-1"))


def signer_becomes_another(folder):
    change_line(folder / "data/signatures.jsonl", lambda line: line.update(printed_name="X"))


def photograph_becomes_another(folder):
    first, second = sorted((folder / "data/photographs").rglob("*.jpg"))
    first.write_bytes(second.read_bytes())


def photograph_and_its_row_become_another(folder):
    path = sorted((folder / "data/photographs").rglob("*.jpg"))[0]
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    path.write_bytes(b"another")
    after = hashlib.sha256(b"another").hexdigest()
    change(folder / "data/tables/photographs.csv", before, after)


def photographs_change_places(folder):
    path = folder / "data/tables/photographs.csv"
    heading, *lines = path.read_text().splitlines()
    first, second = (line.split(",", 1) for line in lines)
    path.write_text(f"{heading}\n{first[0]},{second[1]}\n{second[0]},{first[1]}\n")


def entry_says_something_else(folder):
    change_line(folder / "data/trail.jsonl", lambda line: line["entry"].update(act="x"))


def details_say_something_else(folder):
    change(folder / "data/trail.jsonl", "image/jpeg", "image/jpig")


def an_entry_goes(folder):
    path = folder / "data/trail.jsonl"
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join(lines[:1] + lines[2:]))


def the_end_goes(folder):
    path = folder / "data/trail.jsonl"
    path.write_text("".join(path.read_text().splitlines(keepends=True)[:-1]))


ALTERED = [
    (accept_becomes_reject, "is not what was signed: outcome"),
    (a_judgement_goes, "1 judgements that were signed are not"),
    (a_note_becomes_another, "is not what was signed: note"),
    (signed_text_becomes_another, "does not fit the text that was signed"),
    (signed_text_and_its_hash_become_another, "has another content_sha256 than the trail"),
    (signed_text_becomes_another_whose_details_are_left_out, "and no entry erased them"),
    (results_become_another_boards, "is not what was signed: board"),
    (signer_becomes_another, "has another printed_name than the trail"),
    (photograph_becomes_another, "is not the one that came"),
    (photograph_and_its_row_become_another, "was never written down in the trail"),
    (photographs_change_places, "was never written down in the trail"),
    (entry_says_something_else, "its hash does not fit what it says"),
    (details_say_something_else, "details that do not fit their digest"),
    (an_entry_goes, "stands where"),
    (the_end_goes, "the trail ends with"),
]


def test_what_is_altered_with_new_manifests_is_found_by_the_head_alone(made, tmp_path):
    for number, (alter, said) in enumerate(ALTERED):
        folder = packs.unpack(made, tmp_path / str(number))
        assert every_fault(folder, head_of(made), made.seal) == []
        alter(folder)
        make_manifests_anew(folder)
        faults = every_fault(folder, head_of(made))

        assert any(said in fault for fault in faults), (alter.__name__, faults)
        assert verify_pack.bag_faults(folder, made.seal).__next__().endswith("that you gave.")


@pytest.mark.parametrize(
    "head", ["", "0" * 15, "9" * 64, "1-{hash}"], ids=["none", "short", "other", "number"]
)
def test_another_head_is_not_taken(made, folder, head):
    head = head.format(hash=made.head.entry_hash)
    assert list(verify_pack.trail_faults(folder, head))


def test_verifier_needs_a_head_and_names_what_is_wrong(made, folder):
    assert verify(folder)[0] == 2
    accept_becomes_reject(folder)
    code, said = verify(folder, head_of(made))
    assert code == 1
    assert "WRONG: data/tables/judgements.csv was changed" in said


# What is in one


def test_tables_are_described_and_hold_what_was_recorded(evidence, folder):
    package = json.loads((folder / "data/tables/datapackage.json").read_text())
    for resource in package["resources"]:
        described = [field["name"] for field in resource["schema"]["fields"]]
        path = folder / "data/tables" / resource["path"]
        with open(path, encoding="utf-8-sig", newline="") as file:
            assert next(csv.reader(file)) == described
        assert all(field["description"] for field in resource["schema"]["fields"])
    [certificate] = rows_of(folder, "certificates")
    assert certificate["certificate"] == evidence.certificate.number
    assert json.loads(certificate["boards"]) == [evidence.board.number]
    assert len(rows_of(folder, "judgements")) == 10
    assert [row["sha256"] for row in rows_of(folder, "photographs")] == [
        photo.sha256 for photo in evidence.photos
    ]
    assert {row["kind"] for row in rows_of(folder, "facts")} == {
        "certificate",
        "vision test",
        "work",
    }
    for row in rows_of(folder, "photographs"):
        assert hashlib.sha256((folder / row["file"]).read_bytes()).hexdigest() == row["sha256"]
    sheet = folder / f"data/results/{evidence.board.number}.pdf"
    assert sheet.read_bytes().startswith(b"%PDF")


def test_first_page_needs_nothing_beside_the_pack(evidence, folder):
    page = (folder / "index.html").read_text()
    assert evidence.certificate.number in page
    assert "Nadezhda Ruiz was certified for Terminals" in page
    for start in ("http://", "https://", 'src="/', 'href="/', "<script", "@import", "url("):
        # A pattern of a drawing in the page is named by url(#...).
        own = page.replace("http://www.w3.org/2000/svg", "").replace("url(#", "")
        assert start not in own, start
    for link in set(links_of(page)):
        assert (folder / link).is_file(), link


def test_first_page_draws_each_life_and_says_it_in_words(folder):
    page = (folder / "index.html").read_text()
    assert page.count('class="life-picture is-') == 3  # One of them is shown, by the width.
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert {f"#{name}" for name in ids} >= set(re.findall(r'(?:href="|url\()(#[\w-]+)', page))
    spans = re.search(r'<table class="table spans">.*?</table>', page, re.DOTALL)[0]
    words = re.sub(r"<[^>]+>|\s+", " ", spans)
    for row in rows_of(folder, "standing"):
        assert row["standing"].replace("_", " ") in words
    assert spans.count("<tr>") == 1 + len(rows_of(folder, "standing"))


def test_drawings_that_were_judged_by_are_files_of_the_pack(evidence, folder):
    [path] = (folder / "data/criteria").glob("*.json")
    content = json.loads(path.read_text())
    named = {name for each in content["criteria"] for name in each["drawings_shown"]["reject"]}
    assert named == {"turret-wrap-top-reject"}
    files = {each["name"]: each for each in content["drawings"]}
    assert set(files) == {"turret-wrap-top-accept", "turret-wrap-top-reject"}
    for each in files.values():
        drawing = (folder / each["file"]).read_bytes()
        assert hashlib.sha256(drawing).hexdigest() == each["sha256"]
        assert drawing.startswith(b"<svg")


def links_of(page):
    return re.findall(r'(?:src|href)="((?!#)[^"]+)"', page)


def test_health_is_told_as_day_and_result_alone(evidence, folder):
    withheld = ["chart at 30 cm", "Dr Sight"]
    for path in folder.rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert not [text for text in withheld if text.encode() in content], path
    [test] = rows_of(folder, "vision-tests")
    assert set(test) == {
        "test",
        "employee_number",
        "tested_on",
        "result",
        "recorded_at",
        "withdrawn_at",
    }
    entries = [json.loads(line) for line in (folder / "data/trail.jsonl").read_text().splitlines()]
    about_vision = [each for each in entries if each["entry"]["about_type"] == "vision-test"]
    assert about_vision
    assert not any("payload" in each for each in about_vision)


def test_what_was_not_known_then_is_told_apart(evidence, tmp_path):
    then = packs.NOW - timedelta(minutes=1)
    pack = packs.build(packs.request(evidence, certificate=evidence.certificate, known_at=then))
    folder = packs.unpack(pack, tmp_path)
    facts = {row["kind"]: row for row in rows_of(folder, "facts")}
    assert facts["vision test"]["as_known_then"] == "not yet recorded"
    assert facts["vision test"]["as_known_now"] == "counts"
    assert facts["certificate"]["as_known_then"] == "counts"
    stood = {
        (row["as_known"], row["standing"])
        for row in rows_of(folder, "standing")
        if row["first_day"] <= "2026-11-25" and (row["last_day"] or "9") >= "2026-11-25"
    }
    assert stood == {("then", "vision_not_current"), ("now", "certified")}
    page = (folder / "index.html").read_text()
    assert "vision not current" in page
    assert "not yet recorded" in page
    # As known then and as known now differ, so both are drawn.
    assert page.count('class="life-picture is-wide"') == 2


def test_what_came_after_it_was_asked_for_is_not_in_it(evidence, tmp_path):
    pack = packs.request(evidence)
    VisionTest.objects.create(
        test_id="CA-V-2",
        person=evidence.person,
        tested_on=date(2026, 11, 25),
        passed=False,
        recorded_at=packs.AT + timedelta(seconds=1),
    )
    folder = packs.unpack(packs.build(pack), tmp_path)
    assert [row["test"] for row in rows_of(folder, "vision-tests")] == ["CA-V-1"]


def test_judgements_that_two_graders_still_make_apart_are_not_told(evidence, tmp_path):
    graders = [factories.make_user("instructor") for _each in range(2)]
    board = factories.make_differing_board(evidence.person, *graders)
    unsigned = factories.make_board(evidence.person, handed_in_at=packs.NOW)
    Board.objects.update(recorded_at=packs.NOW)
    pack = packs.build(packs.request(evidence, person=evidence.person))
    folder = packs.unpack(pack, tmp_path)
    boards = {row["board"]: row for row in rows_of(folder, "boards")}
    assert boards[board.number]["judgements_told"] == "false"
    assert boards[board.number]["passed"] == ""
    assert unsigned.number in boards
    assert {row["board"] for row in rows_of(folder, "judgements")} == {evidence.board.number}
    signatures = (folder / "data/signatures.jsonl").read_text()
    assert board.number not in signatures
    assert verify(folder, head_of(pack))[0] == 0


def test_question_holds_whoever_was_certified_in_its_days_at_its_sites(evidence, tmp_path):
    there = factories.make_site("Aldergate", "AL")
    scope = evidence.certificate.scope
    elsewhere = factories.make_certificate(
        factories.make_person(there), scope, issued_on=date(2026, 1, 10)
    )
    over = factories.make_certificate(factories.make_person(), scope, issued_on=date(2020, 1, 10))
    other = factories.make_certificate(issued_on=date(2026, 1, 10))
    days = {"first_day": date(2026, 2, 1), "last_day": date(2026, 2, 28)}
    pack = packs.build(packs.request(evidence, scopes=[scope], **days))
    held = {row["certificate"] for row in rows_of(packs.unpack(pack, tmp_path), "certificates")}
    assert held == {evidence.certificate.number}
    assert not held & {elsewhere.number, over.number, other.number}

    every = packs.build(packs.request(evidence, **days))
    folder = packs.unpack(every, tmp_path)
    assert {row["certificate"] for row in rows_of(folder, "certificates")} == {
        evidence.certificate.number,
        other.number,
    }
    assert "2 people hold or held" in (folder / "index.html").read_text()


@pytest.mark.usefixtures("photo_files")
def test_photograph_that_cannot_be_read_is_left_out_and_said(evidence, tmp_path):
    lost, changed = evidence.photos
    default_storage.delete(lost.original.name)
    Path(changed.original.path).write_bytes(b"something else")
    pack = packs.build(packs.request(evidence))
    folder = packs.unpack(pack, tmp_path)
    bagit.Bag(str(folder)).validate()
    assert [bool(row["file"]) for row in rows_of(folder, "photographs")] == [False, True]
    code, said = verify(folder, head_of(pack))
    assert code == 1
    assert f"photograph {lost.pk} of board {evidence.board.number} could not be read" in said
    assert f"photograph {changed.pk} of board {evidence.board.number} is not the one" in said


# Asking


@pytest.mark.parametrize(
    ("about", "said"),
    [
        ({"first_day": date(2026, 1, 2)}, "from which day through which day"),
        ({"first_day": date(2026, 1, 2), "last_day": date(2026, 1, 1)}, "swap them"),
        (
            {
                "first_day": date(2026, 1, 2),
                "last_day": date(2026, 1, 2),
                "known_at": packs.AT + timedelta(days=1),
            },
            "give an earlier time",
        ),
    ],
    ids=["day", "order", "future"],
)
def test_question_that_cannot_be_asked_is_refused_and_nothing_kept(evidence, about, said):
    with pytest.raises(CannotPack, match=said):
        packs.request(evidence, **about)
    assert not EvidencePack.objects.exists()


def test_whoever_is_no_longer_quality_is_refused(evidence):
    SiteRole.objects.filter(user=evidence.quality).delete()
    with pytest.raises(CannotPack, match="Quality alone"):
        packs.request(evidence)


def test_pack_of_somebody_whose_name_was_erased_verifies_and_says_so(evidence, tmp_path):
    """What was signed of them is shorter by it; changed again it is found by the head alone."""
    person = evidence.person
    trail.sign(
        actor=evidence.quality, meaning="shown to",
        about=("certificate", evidence.certificate.number),
        content={"person": person.full_name, "person_id": person.pk}, at=NOW, zone="UTC",
        proof="password",
    )  # fmt: skip
    Person.objects.filter(pk=person.pk).update(left_on=date(2026, 1, 15))
    erase_person(person=person, reason="Asked for.", actor=evidence.quality, at=packs.AT)
    pack = packs.build(packs.request(evidence, person=person))
    folder = packs.unpack(pack, tmp_path)
    code, said = verify(folder, head_of(pack), pack.seal)
    assert code == 0, said
    assert "a name was erased under the signature" in said

    def alter(line):
        line["content"] = line["content"].replace("}", ',"more":"text"}', 1)

    reduced = next(
        line["number"]
        for _, line in verify_pack.json_lines(folder / "data/signatures.jsonl")
        if verify_pack.sha256_of_text(line["content"]) != line["content_sha256"]
    )
    change_line(
        folder / "data/signatures.jsonl", alter, where=lambda line: line["number"] == reduced
    )
    make_manifests_anew(folder)
    assert any(
        "does not fit the text that was signed" in fault
        for fault in every_fault(folder, head_of(pack))
    )
