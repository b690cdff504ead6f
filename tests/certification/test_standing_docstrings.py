"""The examples in the docstrings of the engine give what they say."""

import doctest
import importlib

import pytest


@pytest.mark.parametrize("name", ["disclosure", "months", "periods", "standing"])
def test_examples_run(name):
    module = importlib.import_module(f"certification.domain.{name}")
    results = doctest.testmod(module)
    assert results.attempted > 0
    assert results.failed == 0
