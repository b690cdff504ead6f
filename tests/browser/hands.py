"""What a person does on a page, counted."""

from dataclasses import dataclass

from tests.browser.conftest import Visitor


@dataclass
class Hands:
    """What a person does on a page, one act a click and one a key."""

    visitor: Visitor
    acts: int = 0

    @property
    def page(self):
        return self.visitor.page

    def click(self, target) -> None:
        self.acts += 1
        target.click()
        self.visitor.settle()

    def audit(self) -> None:
        """Look for faults; a browser complains of each refusal, which is none."""
        told = self.visitor.complaints
        told[:] = [text for text in told if "422 (Unprocessable Entity)" not in text]
        self.visitor.audit()

    def button(self, name: str) -> None:
        self.click(self.page.get_by_role("button", name=name, exact=True))

    def link(self, name: str) -> None:
        self.click(self.page.get_by_role("link", name=name, exact=True))

    def choose(self, label: str, option: str) -> None:
        """One click opens the list, one chooses."""
        self.acts += 2
        self.page.get_by_label(label).select_option(option)
        self.visitor.settle()

    def type(self, label: str, text: str, *, exact: bool = False) -> None:
        self.acts += len(text) + 1
        self.page.get_by_label(label, exact=exact).fill(text)

    def press(self, key: str) -> None:
        self.acts += 1
        self.page.keyboard.press(key)
