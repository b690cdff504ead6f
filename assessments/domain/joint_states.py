"""What is shown of a joint by its judgements, and what accepting the rest of it covers.

The grading screen's script follows the same rules while no answer comes
(`static/js/grading/joint-state.js`); one table of cases tests both.
"""

from collections.abc import Collection, Mapping, Sequence

from .scoring import CriterionRule, Outcome, Severity, joint_result


def shown_state(
    criteria: Sequence[CriterionRule], judgements: Mapping[str, Outcome], *, is_spare: bool
) -> str:
    """The state of a joint; a spare one that nobody began to judge is not applicable.

    Examples
    --------
    >>> wrap = CriterionRule("W1", Severity.CRITICAL, 30)
    >>> shown_state([wrap], {}, is_spare=False), shown_state([wrap], {}, is_spare=True)
    ('open', 'not_applicable')
    """
    if is_spare and not any(rule.code in judgements for rule in criteria):
        return Outcome.NOT_APPLICABLE.value
    return joint_result(criteria, judgements).state.value


def goes_with_the_rest(severity: str, *, is_measured: bool) -> bool:
    """Whether a criterion may be accepted unseen: a critical or measured one wants its own."""
    return severity != Severity.CRITICAL and not is_measured


def accepted_with_the_rest(
    criteria: Mapping[str, bool],
    judged: Collection[str],
    *,
    shown: str | None,
    measured: Collection[str] = (),
) -> list[str]:
    """The criteria of a joint that accepting its rest accepts.

    Parameters
    ----------
    criteria : mapping of criterion code to bool
        Those that apply, in order; True where one may go with the rest.
    judged : collection of criterion code
    shown : str or None
        The one on the screen, which is accepted critical or not if it is still open.
    measured : collection of criterion code
        Those that want a measurement, so that a key alone never accepts them, shown or not.

    Examples
    --------
    >>> accepted_with_the_rest({"W1": False, "C1": True, "C2": True}, {"C2"}, shown="W1")
    ['W1', 'C1']
    >>> accepted_with_the_rest({"W1": False, "C1": True}, (), shown="W1", measured={"W1"})
    ['C1']
    """
    return [
        code
        for code, may_go in criteria.items()
        if code not in judged and (may_go or (code == shown and code not in measured))
    ]
