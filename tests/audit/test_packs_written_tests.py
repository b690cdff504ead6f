"""Written tests in evidence packs: what was asked and answered, and never what would be right."""

import json

import pytest

from assessments.services import written_tests
from audit.presenters import verify_pack
from tests import factories
from tests.assessments import written
from tests.audit import packs
from tests.audit.test_evidence_packs import (
    change,
    change_line,
    head_of,
    links_of,
    make_manifests_anew,
    rows_of,
    verify,
)
from tests.factories import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def evidence():
    return packs.make_evidence(photos=0)


@pytest.fixture
def taker(evidence):
    return factories.make_user(person=evidence.person)


@pytest.fixture
def instructor(evidence):
    return factories.make_user("instructor", site=evidence.person.site)


@pytest.fixture
def paper(taker, instructor):
    return written.take(written.make_test(), taker, instructor, wrong=(2,))


def test_a_person_s_pack_holds_papers_as_they_were_asked_answered_and_marked(
    evidence, paper, tmp_path
):
    pack = packs.build(packs.request(evidence, person=evidence.person))
    folder = packs.unpack(pack, tmp_path)
    code, said = verify(folder, head_of(pack), pack.seal)
    assert code == 0, said
    [row] = rows_of(folder, "written-tests")
    assert (row["paper"], row["form"], row["ended_how"]) == (paper.number, "A", "handed_in")
    assert row["questions_told"] == "true"
    [result] = rows_of(folder, "written-test-results")
    assert (result["right"], result["of"], result["passed"]) == ("4", "5", "true")
    questions = rows_of(folder, "written-test-questions")
    assert [each["text"] for each in questions] == [f"What of {n}?" for n in range(5)]
    answers = rows_of(folder, "written-test-answers")
    assert [json.loads(each["given"]) for each in answers][1] == ["7"]
    assert answers[2]["given_in_words"] == "0.7612"
    page = (folder / "index.html").read_text()
    assert "4 of" in page
    assert paper.number in page
    assert all((folder / link).is_file() for link in set(links_of(page)))


def test_nothing_in_a_pack_says_what_is_right_while_the_test_may_be_sat(
    evidence, taker, instructor, tmp_path
):
    """Not the key, not the order in which it lies, not what the trail says of publishing it."""
    test = written.make_test()
    paper = written.take(test, taker, instructor, wrong=(1, 2, 3, 4, 5))
    folder = packs.unpack(
        packs.build(packs.request(evidence, person=evidence.person)), tmp_path / "while"
    )
    assert {each["answered_rightly"] for each in rows_of(folder, "written-test-questions")} == {""}
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            content = path.read_bytes()
            for withheld in (b"0.7612", paper.seed.encode(), test.seed.encode()):
                assert withheld not in content, path
    entries = [json.loads(line) for line in (folder / "data/trail.jsonl").read_text().splitlines()]
    told = {line["entry"]["act"] for line in entries if "payload" in line}
    assert "answered in a written test" in told
    assert not told & {
        "written test published", "written test handed out", "written test marked",
    }  # fmt: skip

    written_tests.retire_test(test=test, reason="Old.", proof="password", actor=instructor, at=NOW)
    after = packs.build(packs.request(evidence, person=evidence.person))
    folder = packs.unpack(after, tmp_path / "after")
    told_right = [each["answered_rightly"] for each in rows_of(folder, "written-test-questions")]
    assert told_right == ["false"] * 5


def test_what_a_paper_asks_is_not_told_before_its_end_nor_to_who_has_it_open(
    evidence, taker, instructor, paper, tmp_path
):
    test = written.make_test()
    open_paper = written.hand_out(test, evidence.person, instructor)
    written.hand_out(paper.test, evidence.quality.person, instructor)
    folder = packs.unpack(packs.build(packs.request(evidence, person=evidence.person)), tmp_path)
    told = {row["paper"]: row["questions_told"] for row in rows_of(folder, "written-tests")}
    assert told == {paper.number: "false", open_paper.number: "false"}
    assert rows_of(folder, "written-test-questions") == []
    assert rows_of(folder, "written-test-answers") == []
    assert len(rows_of(folder, "written-test-results")) == 1
    assert b"What of" not in (folder / "data/trail.jsonl").read_bytes()


def test_a_certificate_s_pack_holds_the_papers_that_it_rests_on_alone(
    evidence, taker, instructor, paper, tmp_path
):
    written.take(written.make_test(), taker, instructor)
    certificate = factories.make_certificate(
        evidence.person, evidence={"boards": [], "written_tests": [{"number": paper.number}]}
    )
    factories.write_down()
    pack = packs.build(packs.request(evidence, certificate=certificate))
    folder = packs.unpack(pack, tmp_path)
    assert [row["paper"] for row in rows_of(folder, "written-tests")] == [paper.number]


def test_an_answer_that_is_altered_or_taken_out_is_found_by_the_head_alone(
    evidence, paper, tmp_path
):
    pack = packs.build(packs.request(evidence, person=evidence.person))
    folder = packs.unpack(pack, tmp_path)
    path = folder / "data/tables/written-test-answers.csv"
    whole = path.read_bytes()
    change(path, '"[""7""]"', '"[""1""]"')
    make_manifests_anew(folder)
    assert any("is not what was written down" in each for each in verify_pack.answer_faults(folder))
    path.write_bytes(b"".join(whole.splitlines(keepends=True)[:-1]))
    assert any("1 answers that were" in each for each in verify_pack.answer_faults(folder))
    path.write_bytes(whole)
    change_line(
        folder / "data/trail.jsonl",
        lambda line: line["entry"].update(about_id="999"),
        where=lambda line: line["entry"]["act"] == "answered in a written test",
    )
    assert any("never written down" in each for each in verify_pack.answer_faults(folder))
