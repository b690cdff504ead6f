"""How one step of setting up a site is shown: its title, why it is there, its state in a word."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.urls import NoReverseMatch, reverse
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from operations.domain.setting_up import Place, StepName, StepState

MOST_NAMED = 6

TITLES = {
    StepName.SITES: gettext_lazy("Organisation and sites"),
    StepName.MAIL: gettext_lazy("Mail"),
    StepName.PEOPLE: gettext_lazy("People and roles"),
    StepName.SCHEMES: gettext_lazy("Scopes and schemes"),
    StepName.CRITERIA: gettext_lazy("Criteria confirmed and published"),
    StepName.EXERCISES: gettext_lazy("Exercises and courses"),
    StepName.INSTRUCTORS: gettext_lazy("First certified instructors"),
    StepName.CLASSES: gettext_lazy("First class"),
    StepName.BOARDS: gettext_lazy("First board judged"),
    StepName.CERTIFICATES: gettext_lazy("First certificate"),
    StepName.BACK_UP: gettext_lazy("First back-up"),
}
WHY = {
    StepName.SITES: gettext_lazy(
        "Every number begins with its site’s letters, and every day is counted in its site’s "
        "time zone."
    ),
    StepName.MAIL: gettext_lazy("Without mail, nobody is told that a certificate is about to end."),
    StepName.PEOPLE: gettext_lazy(
        "Whoever judges may not issue: a site needs an instructor and somebody else for quality."
    ),
    StepName.SCHEMES: gettext_lazy(
        "A scheme says what a certificate takes and how long it lasts; issued ones keep the "
        "revision they began with."
    ),
    StepName.CRITERIA: gettext_lazy(
        "Nobody can be judged by a criterion that no person here has read against your own "
        "standard."
    ),
    StepName.EXERCISES: gettext_lazy(
        "An exercise is what a board is handed out for; a course is what a class follows."
    ),
    StepName.INSTRUCTORS: gettext_lazy(
        "Somebody must be entitled before anybody can be certified here: the first ones bring a "
        "certificate from elsewhere."
    ),
    StepName.CLASSES: gettext_lazy(
        "In a class people make boards beside whoever teaches them; its page hands them out."
    ),
    StepName.BOARDS: gettext_lazy(
        "A board is made by one person, handed in, judged criterion by criterion and signed."
    ),
    StepName.CERTIFICATES: gettext_lazy(
        "An instructor proposes whoever has shown what a scheme asks, and quality issues. With it "
        "this page gives way to the pages of every day."
    ),
    StepName.BACK_UP: gettext_lazy(
        "What is kept on one machine alone is gone with it: records that were signed cannot be "
        "made again."
    ),
}


@dataclass(frozen=True)
class Sentence:
    """One thing that is so, or that is missing."""

    text: str
    is_gap: bool = False


@dataclass(frozen=True)
class Link:
    """Where something is done; one that is pressed changes something itself."""

    label: str
    url: str
    is_pressed: bool = False


@dataclass(frozen=True)
class Progress:
    value: int
    most: int
    label: str


@dataclass(frozen=True)
class Step:
    """One step as the page shows it."""

    name: StepName
    place: Place
    says: tuple[Sentence, ...]
    link: Link | None
    progress: Progress | None = None

    @property
    def number(self) -> int:
        return self.name.number

    @property
    def title(self) -> Any:
        return TITLES[self.name]

    @property
    def why(self) -> Any:
        return WHY[self.name]

    @property
    def css_class(self) -> str:
        done = self.place.state in (StepState.DONE, StepState.DONE_WITH_GAP)
        return "is-done" if done else f"is-{self.place.state.value}"

    @property
    def shape(self) -> tuple[str, str]:
        """The shape before the word of its state, and its tone."""
        if self.place.state is StepState.DONE:
            return "accept", "is-accept"
        if self.place.state is StepState.DONE_WITH_GAP:
            return "remarks", "is-accept"
        return "open", "is-none"

    @property
    def word(self) -> str:
        if self.place.state is StepState.DONE_WITH_GAP:
            return ngettext("done, %(n)d gap", "done, %(n)d gaps", self.place.gaps) % {
                "n": self.place.gaps
            }
        return {
            StepState.DONE: _("done"),
            StepState.NEXT: _("comes next"),
            StepState.OPEN: _("open"),
            StepState.WAITS: _("waits"),
        }[self.place.state]

    @property
    def note(self) -> str:
        if self.place.state is StepState.OPEN:
            return _("can be done now")
        numbers = [str(name.number) for name in self.place.waits_for]
        if not numbers:
            return ""
        return ngettext("for step %(numbers)s", "for steps %(numbers)s", len(numbers)) % {
            "numbers": get_text_list(numbers, _("and"))
        }


def page_link(label: str, url_name: str, *args: Any, **query: str) -> Link | None:
    """A link to a page, or none where this installation has no such page."""
    try:
        url = reverse(url_name, args=args)
    except NoReverseMatch:
        return None
    asked = "&".join(f"{name}={value}" for name, value in query.items())
    return Link(label, f"{url}?{asked}" if asked else url)


def named(things: Iterable[Any]) -> str:
    """Some names in a row, the first few of many."""
    names = [str(thing) for thing in things]
    shown = names[:MOST_NAMED]
    if len(names) > MOST_NAMED:
        shown.append(_("%(n)d more") % {"n": len(names) - MOST_NAMED})
    return get_text_list(shown, _("and"))
