#!/usr/bin/env python3
"""Check an evidence pack without the program that made it, and without a network.

Unpack the pack, open a terminal in the folder that this file lies in, and run

    python3 verify_pack.py HEAD [SEAL]

HEAD is the end of the trail when the pack was made. Take it from somewhere else than the pack: a
covering letter, a daily mail, a printed sheet. It looks like 4212-0123456789abcdef, or is a hash of
16 to 64 digits. SEAL, if you were given it too, is the SHA-256 of tagmanifest-sha256.txt.

What is checked, each by a function below:

1. the bag      every file is there and has its SHA-256, and there is no other file (RFC 8493);
2. the trail    every entry's hash fits what it says and the entry before it, up to HEAD;
3. the details  what the trail says in full fits the digest that its entry holds;
4. signatures   every text that was signed fits its hash, and the trail has the same hash; what
                was removed of one since, the trail says, with the hash of what is left. Where what
                the trail itself said of one was erased, a note says so: that one rests on the seal;
5. photographs  every photograph is the one that was written down of its board when it came;
6. judgements   every row of judgements.csv is in a text that somebody signed, as it is there;
7. answers      every answer in a written test is the one that was written down when it came.

It needs Python 3.9 or later and nothing else. It ends with 0 if everything fits and with 1 if not,
and changes nothing. Two things it cannot tell: whether what people wrote down was true, and whether
something was left out that ought to have been asked for.
"""

import csv
import hashlib
import json
import sys
from pathlib import Path

FIRST_PREVIOUS = "0" * 64
SIGNED = "signed"
REMOVED, NAME_ERASED, DETAILS_ERASED = "removed", "name erased", "payload erased"
TABLES, TRAIL, SIGNATURES = "data/tables", "data/trail.jsonl", "data/signatures.jsonl"


def sha256_of_file(path):
    digest = hashlib.sha256()
    with open(path, "rb") as file:
        while chunk := file.read(1 << 20):
            digest.update(chunk)
    return digest.hexdigest()


def sha256_of_text(text):
    return hashlib.sha256(text.encode()).hexdigest()


def canonical(value):
    """RFC 8785 for what stands in the trail: text, whole numbers, null, and objects of these."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def json_lines(path):
    with open(path, encoding="utf-8", newline="\n") as lines:
        for number, line in enumerate(lines, start=1):
            yield number, json.loads(line)


def rows_of(folder, name):
    path = folder / TABLES / name
    if path.exists():
        with open(path, encoding="utf-8-sig", newline="") as file:
            yield from csv.DictReader(file)


# 1. The bag


def manifest(path):
    with open(path, encoding="utf-8") as lines:
        for line in lines:
            digest, _, name = line.rstrip("\n").partition("  ")
            yield name, digest


def bag_faults(folder, seal):
    tag_manifest = folder / "tagmanifest-sha256.txt"
    if seal and sha256_of_file(tag_manifest) != seal.lower():
        yield "tagmanifest-sha256.txt does not have the seal that you gave."
    listed = {"tagmanifest-sha256.txt"}
    for list_name in ("tagmanifest-sha256.txt", "manifest-sha256.txt"):
        for name, digest in manifest(folder / list_name):
            listed.add(name)
            path = folder / name
            if not path.is_file():
                yield f"{name} is missing."
            elif sha256_of_file(path) != digest:
                yield f"{name} was changed: its SHA-256 is not the one in {list_name}."
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and name not in listed:
            yield f"{name} does not belong to the pack."


# 2. and 3. The trail, and what it says in full


def trail_faults(folder, head):
    previous, number, last = None, None, None
    for line, given in json_lines(folder / TRAIL):
        entry = given["entry"]
        where = f"trail entry {entry['n']}"
        if number is not None and entry["n"] != number + 1:
            yield f"{where} stands where {number + 1} should, on line {line}."
        if previous is not None and entry["previous"] != previous:
            yield f"{where} does not follow the entry before it."
        if entry["n"] == 1 and entry["previous"] != FIRST_PREVIOUS:
            yield f"{where} is the first, and names one before it."
        if sha256_of_text(canonical(entry)) != given["hash"]:
            yield f"{where} was changed: its hash does not fit what it says."
        if "payload" in given:
            salted = bytes.fromhex(given["salt"]) + given["payload"].encode()
            if hashlib.sha256(salted).hexdigest() != entry["digest"]:
                yield f"{where} has details that do not fit their digest."
        previous, number, last = given["hash"], entry["n"], given
    if last is None:
        yield "the trail is empty."
        return
    wanted_number, _, wanted_hash = head.strip().lower().rpartition("-")
    if len(wanted_hash) < 16 or not last["hash"].startswith(wanted_hash):
        yield f"the trail ends with {last['entry']['n']}-{last['hash']}, and not with {head}."
    elif wanted_number and wanted_number != str(last["entry"]["n"]):
        yield f"the trail ends with entry {last['entry']['n']}, and not with {wanted_number}."


def details_of(folder, act=None, about=None):
    """By number of the entry, what the trail says in full of one act or kind of thing."""
    details = {}
    for _, given in json_lines(folder / TRAIL):
        entry = given["entry"]
        if entry["act"] == act or entry["about_type"] == about:
            said = json.loads(given["payload"]) if "payload" in given else None
            details[entry["n"]] = (entry, said)
    return details


def removals_of(folder, act):
    """By kind and number of the thing, the number of the entry that says so, and what it says."""
    return {
        (entry["about_type"], entry["about_id"]): (number, said or {})
        for number, (entry, said) in details_of(folder, act=act).items()
    }


# 4. Signatures


def signature_faults(folder):
    entries = details_of(folder, act=SIGNED)
    gone, erased = removals_of(folder, REMOVED), removals_of(folder, NAME_ERASED)
    details_erased = removals_of(folder, DETAILS_ERASED)
    for _, signature in json_lines(folder / SIGNATURES):
        where = f"the signature in trail entry {signature['entry']}"
        digest = sha256_of_text(signature["content"])
        about = (signature["about_type"], signature["about_id"])
        left = erased.get(("signature", str(signature["number"])))
        if left and left[1].get("content_sha256") == digest:
            print(f"  note: a name was erased under {where} by entry {left[0]}.")
        elif not signature["content"] and about in gone:
            print(f"  note: what {where} stands under was removed by entry {gone[about][0]}.")
        elif left or digest != signature["content_sha256"]:
            yield f"{where} does not fit the text that was signed."
        entry, details = entries.get(signature["entry"], (None, None))
        if entry is None:
            yield f"{where} is not in the trail."
            continue
        said = (entry["about_type"], entry["about_id"], entry["recorded_at"])
        if said != (*about, signature["signed_at"]):
            yield f"{where} is about something else than the trail says."
        if details is None:
            # Whoever alters a text could leave out what the trail says of it.
            own = details_erased.get(("trail-entry", str(entry["n"])))
            by = max(each[0] for each in (gone.get(about), own, (0,)) if each)
            if by > entry["n"]:
                print(f"  note: what the trail said of {where} was erased by entry {by}.")
            else:
                yield f"{where} has no details in the trail, and no entry erased them."
            continue
        for name in ("printed_name", "signed_at", "zone", "meaning", "proof", "content_sha256"):
            if details[name] != signature[name]:
                yield f"{where} has another {name} than the trail."


# 5. Photographs


def photograph_faults(folder):
    written_down, erased = set(), {}
    details_erased = removals_of(folder, DETAILS_ERASED)
    for number, (entry, details) in details_of(folder, about="photograph").items():
        if details and "sha256" in details:
            written_down.add((entry["about_id"], details["board"], details["sha256"]))
        elif ("trail-entry", str(number)) in details_erased:
            erased[entry["about_id"]] = details_erased["trail-entry", str(number)][0]
    for row in rows_of(folder, "photographs.csv"):
        where = f"photograph {row['photograph']} of board {row['board']}"
        if not row["file"]:
            print(f"  note: {where} could not be read any more when the pack was made.")
        elif sha256_of_file(folder / row["file"]) != row["sha256"]:
            yield f"{where} is not the one that came."
        if (row["photograph"], row["board"], row["sha256"]) in written_down:
            continue
        if row["photograph"] in erased:
            by = erased[row["photograph"]]
            print(f"  note: what was written down of {where} was erased by entry {by}.")
        else:
            yield f"{where} was never written down in the trail."


# 6. Judgements

COMPARED = (
    *("board", "stage", "outcome", "how"),
    *("magnification", "tool", "value", "uncertainty", "note"),
)


def is_cell(cell, value):
    """Whether a cell says this; an apostrophe keeps spreadsheet programs from calculating."""
    text = "" if value is None else str(value)
    return cell in (text, "'" + text)


def judgement_faults(folder):
    signed = {}
    for _, signature in json_lines(folder / SIGNATURES):
        content = json.loads(signature["content"] or "null")
        if isinstance(content, dict) and "grading" in content and "judgements" in content:
            for line in content["judgements"]:
                place = (str(content["grading"]), line["joint"] or "", str(line["make"] or ""))
                of = {"board": content["board"], "stage": content["stage"]}
                signed[(*place, line["criterion"])] = {**line, **of}
    for row in rows_of(folder, "judgements.csv"):
        line = signed.pop((row["grading"], row["joint"], row["make"], row["criterion"]), None)
        joint = row["joint"] or "the whole"
        where = f"the judgement of {joint} of {row['board']} by {row['criterion']}"
        if line is None:
            yield f"{where} was never signed, or stands there twice."
            continue
        for name in COMPARED:
            if not is_cell(row[name], line[name]):
                yield f"{where} is not what was signed: {name}."
        if row["photograph_sha256"] != (line["photo"] or ""):
            yield f"{where} is not what was signed: the photograph."
    if signed:
        yield f"{len(signed)} judgements that were signed are not in judgements.csv."


# 7. Answers in written tests


def answer_faults(folder):
    written_down = {
        entry["about_id"]: said
        for entry, said in details_of(folder, about="test-paper-answer").values()
    }
    for row in rows_of(folder, "written-test-answers.csv"):
        where = f"answer {row['answer']} to question {row['question']} of {row['paper']}"
        if row["answer"] not in written_down:
            yield f"{where} was never written down in the trail."
            continue
        said = written_down.pop(row["answer"])
        if said is None:
            print(f"  note: what was written down of {where} was erased.")
        elif not (
            json.loads(row["given"]) == said["given"]
            and row["question"] == str(said["order"])
            and row["late"] == ("true" if said["late"] else "false")
            and row["recorded_at"] == said["recorded_at"]
        ):
            yield f"{where} is not what was written down."
    told = [number for number, said in written_down.items() if said is not None]
    if told:
        yield f"{len(told)} answers that were written down are not in written-test-answers.csv."


def main(arguments):
    if not 1 <= len(arguments) <= 2:
        print(__doc__)
        return 2
    folder = Path(__file__).resolve().parent
    head, seal = arguments[0], arguments[1] if len(arguments) == 2 else ""
    checks = [
        ("the bag", bag_faults(folder, seal)),
        ("the trail and its details", trail_faults(folder, head)),
        ("signatures", signature_faults(folder)),
        ("photographs", photograph_faults(folder)),
        ("judgements", judgement_faults(folder)),
        ("answers in written tests", answer_faults(folder)),
    ]
    number = 0
    for name, faults in checks:
        print(f"Checking {name}:")
        before = number
        try:
            for fault in faults:
                number += 1
                print(f"  WRONG: {fault}")
        except (OSError, ValueError, KeyError, TypeError) as error:
            number += 1
            print(f"  WRONG: it cannot be read to its end: {type(error).__name__}: {error}")
        if number == before:
            print("  fits.")
    print(f"WRONG: what does not fit is listed above ({number})." if number else "Everything fits.")
    return 1 if number else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
