"""Which course comes before which."""

from collections.abc import Collection, Mapping


def circle_through(code: str, before: Mapping[str, Collection[str]]) -> list[str]:
    """The shortest way on which a course would come before itself; empty where there is none.

    Parameters
    ----------
    before : mapping of str to collection of str
        By course those that come before it.

    Examples
    --------
    >>> circle_through("A", {"A": ["B"], "B": ["C"], "C": ["A"]})
    ['A', 'B', 'C', 'A']
    >>> circle_through("A", {"A": ["B", "C"], "B": ["C"]})
    []
    """
    ways: list[list[str]] = [[code]]
    seen = {code}
    while ways:
        way = ways.pop(0)
        for earlier in sorted(before.get(way[-1], ())):
            if earlier == code:
                return [*way, code]
            if earlier not in seen:
                seen.add(earlier)
                ways.append([*way, earlier])
    return []
