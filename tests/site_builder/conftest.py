"""The site of the packaged demonstration, built once."""

from pathlib import Path

import pytest
from tellmark.kb.check import check
from tellmark.site_builder.build import build

ENTRIES = Path(__file__).parents[2] / "entries"


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("built") / "site"
    build(check(ENTRIES)[0], out)
    return out
