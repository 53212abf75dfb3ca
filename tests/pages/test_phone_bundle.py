"""The modules in one file do what they do apart: circles, other names, name spaces; unknown forms are refused in words."""

from __future__ import annotations

import json
import shutil
import subprocess

import pytest

from webapp.pages import phone_files
from webapp.pages.phone_bundle import CannotBundle, bundle

SMALL = {
    "app.js": 'import { double as twice } from "./sums.js";\nimport * as sums from "./sums.js";\nimport { told } from "./talk.js";\nconst keep = 1;\nexport const start = () => [twice(4), sums.keep, told(), keep];\nexport function word() { return "back"; }\n',
    "sums.js": "export const keep = 7;\nexport function double(n) { return 2 * n; }\n",
    "talk.js": 'import {\nword,\n} from "./app.js";\nexport function told() { return word(); }\n',
}


@pytest.mark.skipif(shutil.which("node") is None, reason="runs in the browser tests as well, through every screen")
def test_a_circle_another_name_and_a_name_space(tmp_path):
    (tmp_path / "b.mjs").write_text(bundle(SMALL))
    done = subprocess.run(["node", "--input-type=module", "-e", f"const b = await import('{tmp_path}/b.mjs'); console.log(JSON.stringify([...b.start(), b.word()]))"], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == [8, 7, "back", 1, "back"]


@pytest.mark.parametrize("source, says", [
    ('import keep from "./sums.js";\n', "import keep"), ("export default 3;\n", "export default"), ("export let n = 3;\n", "export let"),
    ('import { gone } from "./sums.js";\n', "exports no such name"), ('import { x } from "./none.js";\n', "none.js"), ('const m = await import("./sums.js");\n', "import("),
])
def test_other_forms_are_refused(source, says):
    with pytest.raises(CannotBundle, match=says.replace("(", r"\(")):
        bundle({**SMALL, "app.js": source})


def test_every_module_of_the_phone_is_in_the_one_file():
    build = phone_files.build()
    one = build.files["app.js"].decode()
    assert "app.js" in build.shown and not [name for name in build.shown if name.endswith(".js") and name != "app.js"]
    assert [name for name in build.files if name.endswith(".js") and name != "app.js" and f"// {name}\n" not in one] == []
