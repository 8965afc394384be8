"""The page's scripts: modules that the linter has nothing against, joined as they stand."""

from __future__ import annotations

import runpy
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
JOINED = runpy.run_path(str(ROOT / ".ci" / "join-scripts"))["JOINED"]
SOURCES = [path for joined in JOINED for path in joined.source_paths()]
UNIT_TESTS = sorted((ROOT / "tests" / "browser" / "scripts").glob("*.js"))
LONGEST_LINE, MOST_LINES = 110, 300


@pytest.mark.parametrize("joined", JOINED, ids=lambda joined: Path(joined.target).name)
def test_the_joined_file_is_of_the_sources_as_they_are(joined):
    first, _, body = (ROOT / joined.target).read_text(encoding="utf-8").partition("\n")
    assert first == joined.first_line(body), "a source or the joined file was edited: run .ci/join-scripts"


@pytest.mark.parametrize("joined", JOINED, ids=lambda joined: Path(joined.target).name)
def test_an_edited_renamed_or_new_source_is_another_digest(joined, monkeypatch, tmp_path):
    for path in joined.source_paths():
        (tmp_path / path.relative_to(ROOT)).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(path, tmp_path / path.relative_to(ROOT))
    seen = {joined.digest()}
    monkeypatch.setitem(type(joined).source_paths.__globals__, "ROOT", tmp_path)
    assert joined.digest() in seen
    first = joined.source_paths()[0]
    first.write_text(first.read_text(encoding="utf-8") + "// more\n", encoding="utf-8")
    seen.add(joined.digest())
    first.rename(first.with_stem(f"{first.stem}_else"))
    seen.add(joined.digest())
    first.with_stem(f"{first.stem}_new").write_text("export {};\n", encoding="utf-8")
    seen.add(joined.digest())
    assert len(seen) == 4


def lint(*paths: Path) -> subprocess.CompletedProcess[str]:
    linter = shutil.which("oxlint", path=str(Path(sys.executable).parent)) or shutil.which("oxlint")
    assert linter, "oxlint is missing: pip install --editable '.[test]'"
    command = [linter, "--config", str(ROOT / ".oxlintrc.json"), "--deny-warnings", "--format", "unix"]
    return subprocess.run([*command, *map(str, paths)], cwd=ROOT, capture_output=True, text=True, timeout=60)


def test_the_linter_finds_nothing():
    found = lint(*SOURCES, *UNIT_TESTS)
    assert found.returncode == 0, found.stdout + found.stderr


@pytest.mark.parametrize(("script", "rule"), [
    ("export const sum = one => one + other;", "no-undef"),  # from a script before it: no module has that
    ("export const here = () => name;", "no-restricted-globals"),  # the window's own, and surely not meant
    ("const unused = 1;\nexport {};", "no-unused-vars"),
    ("export const isSame = (a, b) => a == b;", "eqeqeq"),
    ("let once = 1;\nexport const twice = () => 2 * once;", "prefer-const"),
    ("export const put = () => { later = 1; };", "no-undef"),
    ('import { there } from "./dom.js";\nexport const here = there;', "import(named)"),
])
def test_the_linter_would_find(script, rule, tmp_path):
    (tmp_path / "dom.js").write_text("export const el = 1;\n", encoding="utf-8")
    path = tmp_path / "tried.js"
    path.write_text(script, encoding="utf-8")
    found = lint(path)
    assert found.returncode == 1
    assert rule in found.stdout


@pytest.mark.parametrize("path", SOURCES + UNIT_TESTS, ids=lambda path: path.name)
def test_a_script_is_a_small_module_of_short_lines(path):
    lines = path.read_text(encoding="utf-8").splitlines()
    assert any(line.startswith(("import ", "export ")) for line in lines), "plain script, not a module"
    assert len(lines) <= MOST_LINES
    assert [line for line in lines if len(line) > LONGEST_LINE] == []


def test_every_script_has_unit_tests_of_its_own():
    tested = {path.name.removesuffix(".test.js") for path in UNIT_TESTS}
    assert {path.stem for path in SOURCES} - tested == set()
