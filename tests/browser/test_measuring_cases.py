"""The formulas that the browser measures by give what the table of measurements says."""

import pytest

from tests.assessments.measuring_cases import load
from tests.assessments.test_measuring_cases import assert_same

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MEASURE_ALL = """async (cases) => {
  const { measure, verdict } = await import('/static/js/measuring/geometry.js');
  return cases.map(({ input }) => {
    try {
      return measure(input.quantity, input.marks, input);
    } catch (error) {
      if (!error.code) throw error;
      return { refused: error.code };
    }
  });
}"""

VERDICTS = """async (rows) => {
  const { verdict } = await import('/static/js/measuring/geometry.js');
  return rows.map((row) => verdict(...row));
}"""


def test_the_browser_measures_what_the_table_says_to_a_millionth(visitor):
    window = visitor()
    window.go("/account/login/")
    cases = load()
    for case, found in zip(cases, window.page.evaluate(MEASURE_ALL, cases), strict=True):
        assert_same(found, case["expected"])
    assert not window.complaints


def test_the_browser_says_of_limits_what_the_server_says(visitor):
    window = visitor()
    window.go("/account/login/")
    rows = [
        [1.9, 0.1, None, 2],
        [1.91, 0.1, None, 2],
        [2.2, 0.1, None, 2],
        [148, 2.5, 180, 270],
        [225, 60, 180, 270],
        [180, 0, 180, 270],
        [5, 1, None, None],
        [5, 1, None, None, False],
    ]
    assert window.page.evaluate(VERDICTS, rows) == [
        "within",
        "too_close_to_call",
        "outside",
        "outside",
        "too_close_to_call",
        "within",
        "within",
        "too_close_to_call",
    ]
