"""Modules joined to one classic script do what the modules say."""

import shutil
import subprocess
from pathlib import Path

import pytest
from tellmark.site_builder.joined import CannotJoin, joined

NODE = shutil.which("node")

MODULES = {
    "low.js": "export const ONE = 1;\n/** @returns {number} */\nexport function two() {\n  return ONE + 1;\n}\n",
    "deep/mid.js": 'import { two as double, ONE } from "../low.js";\nconst hidden = 5;\n'
    "export class Sum {\n  v = double() + ONE + hidden;\n}\n",
    "top.js": 'import {\n  Sum,\n} from "./deep/mid.js";\nimport { ONE } from "./low.js";\nconst hidden = 7;\n'
    "export function total() {\n  return new Sum().v + ONE + hidden;\n}\n",
}

REFUSED = {
    "a default export": ({"a.js": "export default 1;\n"}, "export default 1;"),
    "a star import": ({"a.js": 'import * as b from "./b.js";\n', "b.js": ""}, "import \\* as b"),
    "what may change": ({"a.js": "export let x = 1;\n"}, "export let"),
    "a package": ({"a.js": 'import { x } from "left";\n'}, "import"),
    "a circle": (
        {
            "a.js": 'import { b } from "./b.js";\nexport const a = 1;\n',
            "b.js": 'import { a } from "./a.js";\nexport const b = 1;\n',
        },
        "a.js -> b.js -> a.js",
    ),
}


def written(folder: Path, files: dict[str, str]) -> Path:
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, "utf-8")
    return folder


@pytest.mark.skipif(NODE is None, reason="no node here")
def test_a_joined_script_runs(tmp_path: Path) -> None:
    script = joined("top.js", "found", written(tmp_path, MODULES))
    assert script.count("ONE = 1") == 1, "a module that two others import stands once"
    ran = subprocess.run([str(NODE), "-e", script + "console.log(found.total())"], capture_output=True, text=True, check=True)
    assert ran.stdout == "16\n"


@pytest.mark.parametrize(("files", "message"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_joined_is_refused(tmp_path: Path, files: dict[str, str], message: str) -> None:
    with pytest.raises(CannotJoin, match=message):
        joined("a.js", "found", written(tmp_path, files))
