"""A stranger's repository names commands in many places; reading a revision of it starts none of them.

Each door is planted so that going through it leaves a marker, and git itself is then made to go through it: a
door that git does not open would prove nothing. Two are planted without that: git takes ``packObjectsHook``
from the user's own settings only, and a replace ref is no command.
"""

from __future__ import annotations

import os
import pty
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import planning_kit as pk
from tests.inputs.git_repositories import ALONE, commit, git, outing

STARTS = ("subprocess.Popen", "os.exec", "os.posix_spawn", "os.spawn", "os.fork", "os.forkpty", "os.system",
          "os.startfile", "pty.spawn", "socket.connect", "socket.getaddrinfo", "socket.gethostbyname")
_seen: list[str] | None = None  # a hook cannot be taken away again, so it is told when to look


def _look(event: str, given: tuple[object, ...]) -> None:
    if _seen is not None:
        if event in STARTS:
            _seen.append(f"{event} {given[:2]}")
        elif event == "open" and str(given[0]).endswith((".included", ".gitconfig", "hooks")):
            _seen.append(f"{event} {given[0]}")


sys.addaudithook(_look)


@contextmanager
def nothing_started() -> Iterator[None]:
    """Fails where a process is started, a connection is made or a file of settings elsewhere is read."""
    global _seen
    _seen = []
    try:
        yield
        assert _seen == []
    finally:
        _seen = None


def test_the_watch_sees_a_process_and_a_connection() -> None:
    for act in (lambda: subprocess.run(["true"], check=True), lambda: os.system("true"),
                lambda: os.posix_spawn("/bin/true", ["true"], {})):
        with pytest.raises(AssertionError), nothing_started():
            act()


class Doors:
    """A repository whose settings, hooks and files leave a marker once git goes by them."""

    def __init__(self, folder: Path, outside: Path) -> None:
        self.folder, self.top, self.git = folder, folder.parents[1], folder.parents[1] / ".git"
        self.markers = outside / "markers"
        self.markers.mkdir(parents=True)

    def touch(self, name: str, then: str = "true") -> str:
        return f"touch {self.markers / name}; {then}; #"

    def config(self, text: str) -> None:
        with (self.git / "config").open("a", encoding="utf-8") as stream:
            stream.write(text + "\n")

    def attributes(self, text: str) -> None:
        with (self.git / "info" / "attributes").open("a", encoding="utf-8") as stream:
            stream.write(text + "\n")

    def lose(self, name: str) -> None:
        """Take away an object, as a clone has it that is to fetch what it needs."""
        digits = git(self.folder, "rev-parse", name)
        (self.git / "objects" / digits[:2] / digits[2:]).unlink()

    def went(self) -> set[str]:
        return {each.name for each in self.markers.iterdir()}


def promisor(doors: Doors) -> None:
    doors.config("[core]\nrepositoryformatversion = 1\n[extensions]\npartialClone = origin\n"
                 '[remote "origin"]\n'
                 "url = file:///nowhere\npromisor = true\npartialclonefilter = blob:none\n"
                 f'uploadpack = "{doors.touch("promisor", "false")}"')


def fsmonitor(doors: Doors) -> None:
    doors.config(f'[core]\nfsmonitor = "{doors.touch("fsmonitor", "false")}"')


def hooks(doors: Doors) -> None:
    place = doors.markers.parent / "hooks"
    place.mkdir()
    for folder in (place, doors.git / "hooks"):
        folder.mkdir(exist_ok=True)
        for name in ("post-checkout", "pre-commit", "reference-transaction", "post-index-change"):
            (folder / name).write_text(f"#!/bin/sh\n{doors.touch('hooks')}\n", encoding="utf-8")
            (folder / name).chmod(0o755)
    doors.config(f"[core]\nhooksPath = {place}")


def textconv(doors: Doors) -> None:
    doors.config(f'[diff "shown"]\ntextconv = "{doors.touch("textconv", "cat")}"\n'
                 f'command = "{doors.touch("textconv")}"')
    doors.attributes("*.csv diff=shown")


def filters(doors: Doors) -> None:
    doors.config('[filter "through"]\nrequired = true\n' + "\n".join(
        f'{way} = "{doors.touch("filters", "cat")}"' for way in ("clean", "smudge")))
    doors.attributes("*.toml filter=through")


def alias(doors: Doors) -> None:
    doors.config("[alias]\n" + "\n".join(f'{name} = "!{doors.touch("alias")}"'
                                         for name in ("hello", "rev-parse", "ls-tree", "cat-file")))


def include(doors: Doors) -> None:
    for number, heading in enumerate(("[include]", '[includeIf "gitdir:**"]')):
        place = doors.markers.parent / f"{number}.included"
        place.write_text(f'[alias]\nincluded{number} = "!{doors.touch("include")}"\n', encoding="utf-8")
        doors.config(f"{heading}\npath = {place}")


def ssh(doors: Doors) -> None:
    doors.config(f'[core]\nsshCommand = "{doors.touch("ssh", "false")}"\n'
                 '[remote "far"]\nurl = ssh://host.invalid/x\npromisor = true')


def pager(doors: Doors) -> None:
    doors.config(f'[core]\npager = "{doors.touch("pager", "cat")}"\neditor = "{doors.touch("pager")}"\n'
                 f'[pager]\nlog = "{doors.touch("pager", "cat")}"')


def credentials(doors: Doors) -> None:
    doors.config(f'[credential]\nhelper = "!{doors.touch("credentials")}"')


def proxy(doors: Doors) -> None:
    script = doors.markers.parent / "proxy"
    script.write_text(f"#!/bin/sh\n{doors.touch('proxy')}\n", encoding="utf-8")
    script.chmod(0o755)
    doors.config(f'[core]\ngitProxy = {script}\n[remote "near"]\nurl = git://host.invalid/x')


def pack_objects(doors: Doors) -> None:
    doors.config(f'[uploadpack]\npackObjectsHook = "{doors.touch("pack_objects")}"')


def replaced(doors: Doors) -> None:
    git(doors.folder, "replace", "HEAD", "side~1")


def on_a_screen(doors: Doors) -> None:
    master, slave = pty.openpty()
    subprocess.run(["git", "log"], cwd=doors.folder, env=ALONE, stdout=slave, stdin=subprocess.DEVNULL,
                   check=False)
    os.close(slave)
    os.close(master)


def old_way(doors: Doors) -> None:
    """What the package once ran."""
    doors.lose("HEAD:outings/small/steps.csv")
    for words in (("rev-parse", "--show-prefix"), ("rev-parse", "--verify", "HEAD^{commit}"),
                  ("ls-tree", "-z", "--full-tree", "HEAD:outings/small"),
                  ("cat-file", "blob", "HEAD:outings/small/steps.csv")):
        git(doors.folder, *words, check=False)


def by(*words: str) -> Callable[[Doors], object]:
    return lambda doors: git(doors.folder, *words, given="protocol=https\nhost=x.invalid\n\n", check=False)


DOORS: dict[Callable[[Doors], None], Callable[[Doors], object] | None] = {
    promisor: old_way, fsmonitor: by("status"), hooks: by("checkout", "-q", "-f", "side"),
    textconv: by("log", "-p", "--ext-diff"), filters: by("add", "-A"), alias: by("hello"),
    include: by("included1"), ssh: by("fetch", "far"), pager: on_a_screen,
    credentials: by("credential", "fill"), proxy: by("fetch", "near"), pack_objects: None, replaced: None}


@pytest.fixture
def doors(tmp_path: Path) -> Doors:
    return Doors(outing(tmp_path / "top"), tmp_path / "outside")


@pytest.mark.parametrize("plant", DOORS)
def test_a_door_that_git_goes_through_stays_shut(doors: Doors, plant: Callable[[Doors], None],
                                                 monkeypatch: pytest.MonkeyPatch) -> None:
    (doors.markers.parent / ".gitconfig").write_text("[include]\npath = x.included\n", encoding="utf-8")
    monkeypatch.setenv("HOME", str(doors.markers.parent))
    plant(doors)
    shutil.rmtree(doors.markers)
    doors.markers.mkdir()  # planting may have gone through
    with nothing_started():
        scenario = pk.scenario_at(doors.folder, "HEAD")
        assert scenario.settings.title == "two"
        earlier = pk.time_plan(pk.scenario_at(doors.folder, "side~1"))
        revision = earlier.compare(f"HEAD~1:{doors.folder}")
        assert revision.inputs[["before", "after"]].to_numpy().tolist() == [["one", "two"]]
        with pytest.raises(pk.ScenarioError):
            pk.scenario_at(doors.folder, "no-such")
    assert doors.went() == set()
    if (go_through := DOORS[plant]) is not None:
        go_through(doors)
        assert doors.went() == {plant.__name__}


def test_what_a_partial_clone_lacks_is_not_fetched(doors: Doors) -> None:
    for plant in DOORS:
        plant(doors)
    shutil.rmtree(doors.markers)
    doors.markers.mkdir()
    for name in ("HEAD:outings/small/steps.csv", "side^{tree}", "side~1"):
        doors.lose(name)
    went = doors.went()
    for revision in ("HEAD", "side", "side~1"):
        with nothing_started(), pytest.raises(pk.ScenarioError, match="does not hold it"):
            pk.scenario_at(doors.folder, revision)
    assert doors.went() == went


def test_a_baseline_of_a_pack_goes_through_no_door(tmp_path: Path) -> None:
    scenarios = Path(__file__).parents[2] / "scenarios" / "small-outing"
    folder = outing(tmp_path / "top").parent / "flown"
    shutil.copytree(scenarios, folder)
    commit(folder, "as flown")
    doors = Doors(folder, tmp_path / "outside")
    plan = pk.time_plan(pk.load_scenario(folder))
    chances = plan.odds(samples=100)
    for plant in DOORS:
        plant(doors)
    shutil.rmtree(doors.markers)
    doors.markers.mkdir()
    with nothing_started():
        plan.write_pack(tmp_path / "pack", baseline=f"HEAD:{folder}", chances=chances)
    assert doors.went() == set()
    page = (tmp_path / "pack" / "review.html").read_text(encoding="utf-8")
    assert "Same: nothing that matters changed." in page
