"""Evidence packs of which something is erased or removed before they are put together."""

from datetime import date, timedelta

import pytest
from django.db import connection

from assessments.services.removing import remove_board
from audit.exceptions import CannotPack
from audit.models import EvidencePack
from audit.presenters.pack_contents import PackContents
from audit.services import evidence_packs as services
from people.models import Person
from people.services.erasing import erase_person
from records.models import TrailEntry
from records.services import removals, trail
from tests.assessments.together import wait_behind
from tests.audit import packs
from tests.audit.test_evidence_packs import head_of, verify
from tests.factories import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture
def evidence():
    made = packs.make_evidence()
    trail.sign(
        actor=made.quality, meaning="shown to", about=("certificate", made.certificate.number),
        content={"person": made.person.full_name, "person_id": made.person.pk}, at=NOW,
        proof="password",
    )  # fmt: skip
    Person.objects.filter(pk=made.person.pk).update(left_on=date(2026, 1, 15))
    return made


def erase(evidence, at=packs.AT + timedelta(seconds=30)):
    erase_person(person=evidence.person, reason="Asked for.", actor=evidence.quality, at=at)


def remove_something(number):
    things = [("vision-test", str(number))]
    removals.remove(things=things, reason="kept long enough", actor=None, at=packs.AT)


def test_name_erased_between_two_rounds_has_the_pack_begun_anew(evidence, tmp_path):
    pack = packs.request(evidence, person=evidence.person)
    services.build_pack(
        pack_id=pack.pk,
        clock=lambda: packs.LATER,
        contents_of=PackContents,
        round_lasts=timedelta(microseconds=-1),
    )
    old = services.work_folder(pack)
    assert old.exists()
    erase(evidence)

    pack = packs.build(EvidencePack.objects.get(pk=pack.pk))

    folder = packs.unpack(pack, tmp_path)
    code, said = verify(folder, head_of(pack), pack.seal)
    assert code == 0, said
    assert "a name was erased under the signature" in said
    page = (folder / "index.html").read_text()
    assert "something was removed from the records, or the judging of one of its boards" in page
    assert "Nadezhda Ruiz" not in page
    assert TrailEntry.objects.filter(act="evidence pack begun anew").get() == pack.head
    assert not old.exists()


class RemovesWhileItIsBuilt(PackContents):
    """Contents of which something goes just before the pack is closed."""

    times = 1

    def _write_trail(self, target):
        super()._write_trail(target)
        if type(self).times:
            type(self).times -= 1
            remove_something(f"{type(self).times}1")


def test_what_goes_while_the_pack_is_built_is_seen_when_it_is_closed(evidence, tmp_path):
    pack = packs.request(evidence)
    RemovesWhileItIsBuilt.times = 1
    assert services.build_pack(
        pack_id=pack.pk, clock=lambda: packs.LATER, contents_of=RemovesWhileItIsBuilt
    )
    pack.refresh_from_db()
    assert pack.is_begun_anew
    folder = packs.unpack(pack, tmp_path)
    assert '"act":"removed"' in (folder / "data/trail.jsonl").read_text()
    assert verify(folder, head_of(pack), pack.seal)[0] == 0


def test_removals_without_end_close_the_pack_with_a_sentence_and_it_can_be_asked_again(evidence):
    pack = packs.request(evidence)
    RemovesWhileItIsBuilt.times = 20
    assert services.build_pack(
        pack_id=pack.pk, clock=lambda: packs.LATER, contents_of=RemovesWhileItIsBuilt
    )
    pack.refresh_from_db()
    assert pack.state == "failed"
    assert pack.failure.startswith("All the while records were being removed")
    assert not services.work_folder(pack).exists()
    again = packs.build(packs.request(evidence))
    assert (again.state, again.is_begun_anew) == ("finished", False)


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_pack_is_asked_for_while_its_board_is_removed(evidence):
    def removing():
        remove_board(board=evidence.board, reason="kept long enough", actor=None, at=packs.AT)

    def asking():
        try:
            return packs.request(evidence, board=evidence.board)
        except CannotPack as refused:
            return str(refused)

    refused = wait_behind(removing, asking)

    assert refused.startswith(f"Board {evidence.board.number} was removed")
    assert not EvidencePack.objects.exists()
