"""Forms of a written test: which questions a paper asks, and in which order things stand on it.

All of it follows from a seed by SHA-256, so that a paper can be put together again by whoever has
the seed, on any machine and with any version of Python.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256


@dataclass(frozen=True, slots=True)
class Candidate:
    """A question that a form may have."""

    code: str
    topic: str
    must_be_right: bool = False


class TooFewQuestions(ValueError):
    """A topic has fewer questions than a form takes of it, or must take more than it may.

    Attributes
    ----------
    topic : str
    """

    def __init__(self, topic: str) -> None:
        super().__init__(topic)
        self.topic = topic


def rank_of(seed: str, code: str) -> str:
    """Where a question stands in the order of a seed; evenly spread, and the same for ever."""
    return sha256(f"{seed}\n{code}".encode()).hexdigest()


def draw(
    pool: Iterable[Candidate],
    counts: Mapping[str, int],
    seed: str,
    had: Mapping[str, int] | None = None,
) -> list[str]:
    """Draw a form: of each topic its number of questions, topic by topic.

    Questions that must be right are on every form, since whether somebody knows them must not
    hang on the draw. Of the others those come first that the person has had least often.

    Parameters
    ----------
    counts : mapping of str to int
        Questions of each topic, in the order of the topics on the paper.
    had : mapping of str to int, optional
        How often each question was asked of the person before, by its code.

    Raises
    ------
    TooFewQuestions

    Examples
    --------
    >>> pool = [Candidate(f"Q{n}", "heat") for n in range(9)] + [Candidate("S1", "safety", True)]
    >>> draw(pool, {"safety": 1, "heat": 3}, "seed")
    ['S1', 'Q5', 'Q3', 'Q8']
    """
    asked = had or {}
    questions = list(pool)
    form: list[str] = []
    for topic, count in counts.items():
        of_topic = [one for one in questions if one.topic == topic]
        always = [one for one in of_topic if one.must_be_right]
        others = [one for one in of_topic if not one.must_be_right]
        if len(of_topic) < count or len(always) > count:
            raise TooFewQuestions(topic)
        others.sort(key=lambda one: (asked.get(one.code, 0), rank_of(seed, one.code)))
        taken = always + others[: count - len(always)]
        form += sorted((one.code for one in taken), key=lambda code: rank_of(seed, code))
    return form


def next_form(forms: Sequence[str], had: Sequence[str], seed: str, *, another: bool) -> str | None:
    """Which fixed form somebody gets next: one they have not had, chosen by the seed.

    Parameters
    ----------
    had : sequence of str
        The forms they had, oldest first.
    another : bool
        Whether a form that they had may not come again; then None where none is left. Else the
        one they had longest ago comes.

    Examples
    --------
    >>> next_form("AB", ["A"], "seed", another=True), next_form("A", ["A"], "seed", another=True)
    ('B', None)
    >>> next_form("AB", ["B", "A"], "seed", another=False)
    'B'
    """
    new = [form for form in forms if form not in had]
    if new:
        return min(new, key=lambda form: rank_of(seed, form))
    if another or not forms:
        return None
    latest = {form: index for index, form in enumerate(had)}
    return min(forms, key=lambda form: latest[form])


def shuffled(count: int, seed: str) -> list[int]:
    """The numbers below ``count`` in an order that is not their own, where there is another.

    What is to be brought into order is shown so: as kept it would stand there answered.

    Examples
    --------
    >>> shuffled(4, "seed"), shuffled(2, "any"), shuffled(1, "any")
    ([2, 1, 3, 0], [1, 0], [0])
    """
    order = sorted(range(count), key=lambda number: rank_of(seed, str(number)))
    if order == list(range(count)):
        order = order[1:] + order[:1]
    return order
