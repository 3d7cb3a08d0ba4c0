"""Random knowledge bases for the laws of belief and of questions."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

#: Test modules cannot import one another; this one is loaded from its path, once for both folders that use it.
NAME = "tellmark_random_kb"


@pytest.fixture(scope="session")
def random_kb() -> ModuleType:
    """The module `tests/identify/random_kb.py`."""
    if NAME not in sys.modules:
        spec = importlib.util.spec_from_file_location(NAME, Path(__file__).with_name("random_kb.py"))
        assert spec is not None
        assert spec.loader is not None
        module = importlib.util.module_from_spec(spec)
        sys.modules[NAME] = module
        spec.loader.exec_module(module)
    return sys.modules[NAME]
