"""A joint's state, and accepting its rest, are what the table of cases says of them."""

from assessments.domain.joint_states import accepted_with_the_rest, goes_with_the_rest, shown_state
from assessments.domain.scoring import CriterionRule, Outcome, Severity
from tests.assessments.joint_state_cases import CRITERIA, load, make


def test_the_table_is_what_its_rules_make_of_it():
    assert load() == make()


def test_the_server_says_of_every_joint_what_the_table_says():
    for case in load():
        rules = [CriterionRule(code, Severity(CRITERIA[code][0]), 10) for code in case["codes"]]
        judged = {code: Outcome(said) for code, said in case["judged"].items()}
        assert shown_state(rules, judged, is_spare=case["spare"]) == case["state"], case


def test_the_server_accepts_with_the_rest_what_the_table_says():
    for case in load():
        may_go = {}
        for code in case["codes"]:
            severity, is_measured = CRITERIA[code]
            may_go[code] = goes_with_the_rest(severity, is_measured=is_measured)
        accepted = accepted_with_the_rest(
            may_go,
            case["judged"],
            shown=case["shown"],
            measured=[code for code in case["codes"] if CRITERIA[code][1]],
        )
        assert sorted(accepted) == case["accepted"], case
