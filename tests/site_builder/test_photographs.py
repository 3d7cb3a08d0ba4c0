"""Photographs: checked where they are named, made smaller, shown with whose they are."""

import io
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from tellmark.kb.check import check
from tellmark.site_builder.build import build

Folder = Callable[[Mapping[str, Any]], Path]
VARIANT = "families/tram/variants/gull-b.yaml"
NAMED = """\
name: Gull Harbor streetcar, second batch
like: gull-a
photographs:
  - file: {file}
    shows: The roof from above, <b>ribs</b> along it
    license: CC0-1.0
    credit: Made up for this test
"""


def picture(width: int = 1600, height: int = 900, kind: str = "JPEG") -> bytes:
    """An invented picture: a gradient, as no camera would take it, with a note that must not be published."""
    image = Image.linear_gradient("L").resize((width, height)).convert("RGB")
    made, notes = io.BytesIO(), Image.Exif()
    notes[0x010E] = "where it was taken"
    image.save(made, kind, exif=notes)
    return made.getvalue()


def written(root: Path, file: str, content: bytes) -> Path:
    (root / file).parent.mkdir(parents=True, exist_ok=True)
    (root / file).write_bytes(content)
    return root


def test_photograph_is_shown_in_two_widths(folder: Folder, tmp_path: Path) -> None:
    root = written(folder({VARIANT: NAMED.format(file="photographs/roof.jpg")}), "photographs/roof.jpg", picture())
    entries, findings = check(root)
    assert findings == []
    out = tmp_path / "site"
    build(entries, out)
    made = sorted((out / "photographs").iterdir())
    sizes = [Image.open(path).size for path in made]
    assert sorted(sizes) == [(480, 270), (1200, 675)]
    assert all(b"where it was taken" not in path.read_bytes() for path in made)
    page = (out / "variants" / "gull-b.html").read_text("utf-8")
    assert 'alt="The roof from above, &lt;b&gt;ribs&lt;/b&gt; along it"' in page
    assert "Made up for this test, CC0-1.0" in page
    assert all(f"../photographs/{path.name}" in page for path in made)


WRONG = [
    pytest.param("photographs/gone.jpg", None, 'no file "photographs/gone.jpg"', id="not there"),
    pytest.param("../roof.jpg", b"x", 'the file "../roof.jpg"', id="out of the folder"),
    pytest.param("photographs/roof.gif", b"GIF89a" + bytes(20), '"photographs/roof.gif", which is none', id="another format"),
    pytest.param("photographs/roof.jpg", b"<svg onload='alert(1)'/>", '"photographs/roof.jpg", which is none', id="no picture"),
    pytest.param("photographs/roof.jpg", picture()[:300], "which cannot be read", id="cut off"),
]


@pytest.mark.parametrize(("file", "content", "found"), WRONG)
def test_wrong_photograph_is_said(folder: Folder, file: str, content: bytes | None, found: str) -> None:
    root = folder({VARIANT: NAMED.format(file=file)})
    if content is not None:
        written(root, file, content)
    said = [str(finding) for finding in check(root)[1]]
    assert len(said) == 1
    assert said[0].startswith(f"{VARIANT}:4:")
    assert found in said[0]
