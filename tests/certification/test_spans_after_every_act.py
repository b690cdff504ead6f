"""Stored spans follow every service that writes a fact, and a walk would notice one that forgot.

The walk acts at random on a few people and compares after each act (`spans_walk`). That it
can fail is shown for each place that rebuilds or tells of a fact: found in the source, left out
one at a time, and missed.
"""

import ast
import sys
from pathlib import Path

import pytest

from certification.services import standing
from tests.certification.spans_walk import FACTS, NO_FACTS, LeftBehind, Walk
from training import ports

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).parents[2]
APPS = ("records", "people", "training", "assessments", "certification", "audit", "interfaces")
REBUILDS = {"rebuild_spans", "rebuild_person", "rebuild_people"}
TELLS = {"facts_changed"}
SEEDS = range(4)
STEPS = 150
NOTICED_BY = {("training.services.facts", "withdraw_practice"): 1}
"""The walk to begin with, where the first would go to its end and notice nothing."""


def places():
    """Every function of a service that has spans rebuilt, as (module, function)."""
    for path in sorted(one for app in APPS for one in (ROOT / app / "services").glob("*.py")):
        if path.name == "standing.py":
            continue
        for function in ast.walk(ast.parse(path.read_text())):
            if not isinstance(function, ast.FunctionDef):
                continue
            for node in ast.walk(function):
                if _called(node) in REBUILDS | TELLS:
                    module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
                    yield module, function.name


def _called(node):
    """The name of what is called on something, as in ``standing.rebuild_spans(...)``."""
    is_call = isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
    return node.func.attr if is_call else ""


PLACES = sorted(set(places()))


def forget(monkeypatch, module, function):
    """Leave out the rebuilding in one function of one service, and there alone."""

    def unless_forgotten(service):
        def called(*args, **kwargs):
            caller = sys._getframe(1)
            if (caller.f_globals["__name__"], caller.f_code.co_name) != (module, function):
                service(*args, **kwargs)

        return called

    for owner, names in ((standing, REBUILDS), (ports, TELLS)):
        for name in names:
            monkeypatch.setattr(owner, name, unless_forgotten(getattr(owner, name)))


def test_the_services_that_rebuild_are_those_that_are_known():
    """A new one has to be walked too: add its act to `spans_walk` and its name here."""
    assert PLACES == [
        ("audit.services.importing", "_take_in"),
        ("audit.services.list_writes", "finish"),
        ("certification.services.certificates", "issue_certificate"),
        ("certification.services.certificates_from_elsewhere", "_write"),
        ("certification.services.events", "_write"),
        ("certification.services.events", "withdraw_certificate"),
        ("training.services.facts", "record_practice"),
        ("training.services.facts", "record_vision_test"),
        ("training.services.facts", "withdraw_practice"),
        ("training.services.facts", "withdraw_vision_test"),
        ("training.services.work_taken_in", "_write"),
    ]


def walk_all(folder, first=0):
    seeds = sorted(SEEDS, key=lambda seed: seed != first)
    return [Walk(seed, folder / str(seed)).go(STEPS) for seed in seeds]


def test_spans_are_those_of_the_facts_after_every_act(tmp_path):
    walks = walk_all(tmp_path)

    moved = {act for walk in walks for act, times in walk.moved.items() if times}
    done = {act for walk in walks for act, times in walk.done.items() if times}
    # Nothing was proved of an act that was refused each time, or that bore on nothing.
    assert done == {act.__name__ for act in FACTS + NO_FACTS}
    assert moved == {act.__name__ for act in FACTS}


@pytest.mark.one_database
@pytest.mark.parametrize(("module", "function"), PLACES)
def test_a_service_that_forgets_to_rebuild_is_noticed(monkeypatch, tmp_path, module, function):
    forget(monkeypatch, module, function)

    with pytest.raises(LeftBehind):
        walk_all(tmp_path, first=NOTICED_BY.get((module, function), 0))
