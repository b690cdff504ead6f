"""A person without a mouse: every act is a key, and each stop of the focus is looked at."""

from dataclasses import dataclass, field
from typing import Any

from tests.browser.conftest import Visitor

MOST_STOPS = 400

# What has the focus, as somebody sees it: its name, where it is on the page, whether it is marked
# as having the focus, and what lies over it. The body has it where nothing does.
LOOK = """async () => {
  const one = document.activeElement;
  if (!one || one === document.body || one === document.documentElement) return null;
  window.stops ??= [];
  const known = window.stops.includes(one);
  if (!known) window.stops.push(one);
  const drawn = [one, ...(one.labels ?? [])].filter((each) => each.checkVisibility());
  const isMarked = drawn.some((each) => {
    const { outlineStyle, outlineWidth, outlineColor } = getComputedStyle(each);
    return outlineStyle !== 'none' && parseFloat(outlineWidth) >= 2
      && outlineColor !== 'rgba(0, 0, 0, 0)';
  });
  const isOver = () => {
    const at = one.getClientRects()[0] ?? one.getBoundingClientRect();
    const x = Math.min(Math.max(at.x + at.width / 2, 0), innerWidth - 1);
    const over = document.elementFromPoint(x, at.y + at.height / 2);
    return !over || !(one.contains(over) || over.contains(one)
      || drawn.some((each) => each.contains(over)));
  };
  // The page moves there with the next picture that is drawn.
  for (let frame = 0; isOver() && frame < 10; frame += 1)
    await new Promise(requestAnimationFrame);
  const box = one.getClientRects()[0] ?? one.getBoundingClientRect();
  const sticks = (each) => each && (
    ['sticky', 'fixed'].includes(getComputedStyle(each).position) || sticks(each.parentElement));
  const name = one.getAttribute('aria-label') ?? one.labels?.[0]?.innerText ?? one.innerText;
  return {
    name: `${one.localName}#${one.id} ${(name || one.name || '').trim().slice(0, 60)}`,
    known,
    // A day has a stop for each of its parts.
    same: window.last === (window.last = one),
    marked: isMarked,
    covered: isOver(),
    sticks: Boolean(sticks(one)),
    pulled: one.tabIndex > 0,
    main: Boolean(one.closest('main')),
    left: box.left, right: box.right,
    top: box.top + scrollY, bottom: box.bottom + scrollY,
  };
}"""
# Whatever Tab is to reach; of radio buttons of one name, one alone.
NOT_REACHED = """(part) => [...document.querySelector(part).querySelectorAll(
    'a[href], button, input, select, textarea, summary, [tabindex="0"]')]
  .filter((one) => one.checkVisibility() && !one.disabled && one.type !== 'radio'
    && one.tabIndex >= 0 && !window.stops.includes(one))
  .map((one) => one.outerHTML.slice(0, 120))"""


@dataclass
class Keyboard:
    """The keys of somebody at a page, counted; `faults` is what hindered them."""

    visitor: Visitor
    acts: int = 0
    faults: list[str] = field(default_factory=list)
    pages: list[str] = field(default_factory=list)
    _last: dict[str, Any] | None = None

    def __post_init__(self) -> None:
        # What has the focus is where it will be: a page does not glide there while it is looked at.
        self.page.emulate_media(reduced_motion="reduce")

    @property
    def page(self):
        return self.visitor.page

    def press(self, key: str) -> None:
        self.acts += 1
        self.page.keyboard.press(key)

    def type(self, text: str) -> None:
        self.acts += len(text)
        self.page.keyboard.type(text)

    def open(self, path: str) -> None:
        """Begin at an address, as from a bookmark."""
        self.visitor.go(path)
        self._arrived()

    def to(self, target, *, key: str = "Tab") -> None:
        """Press Tab, or Shift+Tab, until this has the focus."""
        for _step in range(MOST_STOPS):
            if target.evaluate("(one) => one === document.activeElement"):
                return
            self.press(key)
            self.look(forwards=key == "Tab")
        raise AssertionError(f"{key} does not lead to {target} on {self.page.url}")

    def to_content(self) -> None:
        """Pass over what stands on top of every page."""
        self.to(self.page.locator("a.skip"))
        self.press("Enter")
        self._last = None

    def to_link(self, name: str, *, key: str = "Tab") -> None:
        self.to(self.page.get_by_role("link", name=name).first, key=key)

    def to_field(self, label: str, *, key: str = "Tab") -> None:
        self.to(self.page.get_by_label(label).first, key=key)

    def go_on(self, key: str = "Enter") -> None:
        """Press what leads to another page."""
        with self.page.expect_navigation():
            self.press(key)
        self.visitor.settle()
        self._arrived()

    def _arrived(self) -> None:
        self.pages.append(self.page.url.removeprefix(self.visitor.address).partition("#")[0])
        self._last = None

    def look(self, *, forwards: bool = True) -> dict[str, Any] | None:
        """Look at what has the focus, and note what is wrong with it."""
        stop = self.page.evaluate(LOOK)
        if stop is None:
            self._last = None
            return None
        at = f"{self.page.url.removeprefix(self.visitor.address)}: {stop['name']}"
        if not stop["marked"]:
            self.faults.append(f"{at} does not show that it has the focus")
        if stop["covered"]:
            self.faults.append(f"{at} has the focus behind something else")
        if stop["pulled"]:
            self.faults.append(f"{at} pulls the focus out of its order")
        before, self._last = self._last, stop
        if forwards and before and not (before["sticks"] or stop["sticks"] or stop["same"]):
            above = stop["bottom"] <= before["top"] + 1
            if above and stop["left"] < before["right"]:
                self.faults.append(f"{at} comes after {before['name']}, which is below it")
        return stop

    def walk(self, path: str, *, whole: bool = False) -> None:
        """Press Tab through what a page is for, or once round all of it, and note what hinders."""
        self.visitor.go(path)
        self._last = None
        if not whole:
            self.to_content()
        ends, left = 0, False
        for _step in range(MOST_STOPS):
            self.page.keyboard.press("Tab")
            stop = self.look()
            ends += stop is None
            left = left or (not whole and (stop is None or not stop["main"]))
            if left or ends > 1 or (stop and stop["known"] and not stop["same"]):
                missed = self.page.evaluate(NOT_REACHED, "body" if whole else "main")
                self.faults += [f"{path}: Tab does not reach {html}" for html in missed]
                return
        raise AssertionError(f"Tab does not come round on {path}")
