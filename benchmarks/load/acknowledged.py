"""What clients were told is stored, held against the database and the files.

    python -m benchmarks.load.acknowledged ACTS

Prints one line for each kind of thing, and ends with 1 if anything is lost or doubled.
"""

import argparse
import json
import os
import sys
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "benchmarks.load.settings")
django.setup()

from assessments.models import Board, Judgement, Photo, StageSigning, UndoStep  # noqa: E402
from assessments.queries import written_down  # noqa: E402
from assessments.services.photos import sha256_of  # noqa: E402
from audit.models import WorkLogCheck  # noqa: E402
from records.models import TrailEntry  # noqa: E402
from reminders.models import SiteSweep  # noqa: E402

MORNING = "CA-B-M"  # Boards of a morning are numbered so.


def read_acts(file: Path) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """What was sent, and what of it the site has said that it has."""
    rows = [json.loads(line) for line in file.read_text().splitlines()]
    sent = [row for row in rows if row["state"] == "sent"]
    return sent, [row for row in rows if row["state"] == "has"]


def _of(rows: Iterable[dict[str, Any]], what: str) -> list[dict[str, Any]]:
    return [row for row in rows if row["what"] == what]


def judgements(sent: list[dict[str, Any]], had: list[dict[str, Any]]) -> list[str]:
    """Each act under its key once, and each place as it was judged last."""
    keys = Counter(
        str(key)
        for key in UndoStep.objects.filter(
            grading__board__number__startswith=MORNING, key__isnull=False
        ).values_list("key", flat=True)
    )
    asked = {row["key"] for row in _of(sent, "judgement")}
    wrong = [f"lost: act {row['key']}" for row in _of(had, "judgement") if not keys[row["key"]]]
    wrong += [f"done {times} times: act {key}" for key, times in keys.items() if times > 1]
    wrong += [f"nobody sent act {key}" for key in keys if key not in asked]
    stands = {
        (number, joint or "board", code): outcome
        for number, joint, code, outcome in Judgement.objects.filter(
            grading__board__number__startswith=MORNING
        ).values_list(
            "grading__board__number", "joint__position__name", "criterion__code", "outcome"
        )
    }
    for row in _of(had, "judgement"):
        if "criterion" in row:
            place = (row["board"], row["joint"], row["criterion"])
            if stands.get(place) != row["outcome"]:
                wrong.append(f"{place} is {stands.get(place)}, and was judged {row['outcome']}")
    places = Judgement.objects.filter(grading__board__number__startswith=MORNING).count()
    if places != len(stands):
        wrong.append(f"{places} judgements of {len(stands)} places")
    return wrong


def photographs(sent: list[dict[str, Any]], had: list[dict[str, Any]]) -> list[str]:
    """Each photograph once on its board, its file as it was sent, and one entry of the trail."""
    photos = list(Photo.every.filter(board__number__startswith=MORNING).select_related("board"))
    there = Counter((photo.board.number, photo.sha256) for photo in photos)
    asked = {(row["board"], row["sha256"]) for row in _of(sent, "photograph")}
    wrong = [
        f"lost: photograph {row['sha256'][:12]} of {row['board']}"
        for row in _of(had, "photograph")
        if not there[row["board"], row["sha256"]]
    ]
    wrong += [f"{times} times: photograph {which}" for which, times in there.items() if times > 1]
    wrong += [f"nobody sent photograph {which}" for which in there if which not in asked]
    for photo in photos:
        with photo.original.open("rb") as file:
            if sha256_of(file) != photo.sha256:
                wrong.append(f"the file of photograph {photo.pk} is another")
    entries = Counter(
        TrailEntry.objects.filter(
            act=written_down.ADDED, about_id__in=[str(photo.pk) for photo in photos]
        ).values_list("about_id", flat=True)
    )
    wrong += [
        f"photograph {photo.pk} has {entries[str(photo.pk)]} entries"
        for photo in photos
        if entries[str(photo.pk)] != 1
    ]
    return wrong


def signatures(sent: list[dict[str, Any]], had: list[dict[str, Any]]) -> list[str]:
    """Each board signed once, by nobody who did not send it, with one outcome."""
    there = Counter(
        StageSigning.objects.filter(grading__board__number__startswith=MORNING).values_list(
            "grading__board__number", flat=True
        )
    )
    asked = {row["board"] for row in _of(sent, "signature")}
    wrong = [f"lost: {row['board']}" for row in _of(had, "signature") if not there[row["board"]]]
    wrong += [f"signed {times} times: {board}" for board, times in there.items() if times > 1]
    wrong += [f"nobody signed {board}" for board in there if board not in asked]
    decided = set(
        Board.objects.filter(number__in=list(there), outcome__complete=True).values_list(
            "number", flat=True
        )
    )
    return wrong + [f"{board} is signed and not decided" for board in set(there) - decided]


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("acts", type=Path)
    sent, had = read_acts(parser.parse_args().acts)
    kinds = {
        "judgement": judgements(sent, had),
        "photograph": photographs(sent, had),
        "signature": signatures(sent, had),
    }
    for what, wrong in kinds.items():
        found = "; ".join(wrong[:5]) or "none lost, none doubled"
        print(
            f"{what:10}  sent {len(_of(sent, what)):6}  acknowledged {len(_of(had, what)):6}  "
            f"wrong {len(wrong):3}: {found}"
        )
    for check in WorkLogCheck.objects.all():
        print(f"Work-log check {check.pk}: {check.state}, {check.rows:,} rows judged")
    for sweep in SiteSweep.objects.select_related("site"):
        print(f"Swept: {sweep.site}, {sweep.day}")
    morning = Photo.objects.filter(board__number__startswith=MORNING)
    print(f"Photographs whose smaller sizes wait: {morning.filter(renditions=None).count()}")
    sys.exit(any(kinds.values()))


if __name__ == "__main__":
    main()
