"""A site is made anew when something it is made with has another version: what names a version is read off the disk."""

import sys
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pytest
from tellmark.site_builder.build import MADE_WITH
from tellmark.site_builder.installed import versions


def test_every_package_has_its_version() -> None:
    assert all(version(name) in said for name, said in zip(MADE_WITH, versions(MADE_WITH), strict=True))


@pytest.mark.parametrize(
    ("papers", "other"),
    [
        ("numpy-0.1.dist-info", True),
        ("NumPy-0.1.egg-info", True),
        ("numpy_financial-0.1.dist-info", False),
        ("numpy-0.1", False),
    ],
    ids=["as most are installed", "as others are", "another package", "no papers"],
)
def test_another_version_is_another_text(papers: str, other: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = versions(["numpy"])
    (tmp_path / papers).mkdir()
    monkeypatch.setattr(sys, "path", [str(tmp_path), *sys.path])
    assert (versions(["numpy"]) != before) == other


def test_what_is_not_installed_is_said() -> None:
    with pytest.raises(PackageNotFoundError):
        versions(["no-such-package"])
