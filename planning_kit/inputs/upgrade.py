"""``python -m planning_kit.inputs.upgrade FOLDER``: a scenario of format 1, written as format 2 beside it.

It ends with 0 where the new folder can be opened, 1 where it was written but has faults, 2 where nothing was
written. The folder itself is left as it is.
"""

import os
import sys
from collections.abc import Sequence
from pathlib import Path

from planning_kit.inputs import folder_files
from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.format_1 import FORMAT_1_FILES, Upgraded, is_log, upgraded
from planning_kit.inputs.log_file import log_bytes
from planning_kit.inputs.save import save_files
from planning_kit.inputs.scenario import load_scenario
from planning_kit.inputs.settings import parse_toml
from planning_kit.inputs.shown_text import one_line, visible
from planning_kit.inputs.source import orbit_name_in

_USAGE = """\
usage: python -m planning_kit.inputs.upgrade FOLDER
FOLDER holds a scenario of format 1. It stays as it is; FOLDER-format2 beside it is written."""
_NEXT = """\
What to type next, as nobody but you knows it:
  scenario.toml [airlock]: hatch_closed_min, repress_start_min and repress_safe_min are one number so far, and
    each says so in its source. A concern stands until they are typed.
  hazards.csv: what can hurt the crew or damage hardware, and where. Without it no exposure is looked for.
  places.csv and routes.csv, rescue: whether a partner can be brought out. Empty counts as no where
    crew_at_once is 1, and where a way is tight or that is not known.
  scenario.toml [limits] partner_rescue: how grave it is that a partner cannot be brought in.
scenarios/FORMAT.md says what each of them means."""


def upgrade_folder(folder: str | Path) -> tuple[Path, Upgraded, tuple[str, ...]]:
    """Write a format 1 folder as format 2 into ``FOLDER-format2`` beside it.

    Gives the new folder, what was renamed, and the names of files that were left behind. Raises
    `ScenarioError`, and writes nothing, where there is no scenario of format 1, where a save into it was
    interrupted, and where the new folder is there already.
    """
    with folder_files.system_errors_told("cannot be upgraded", value=folder):
        path = Path(os.path.abspath(folder))
        target = path.with_name(f"{path.name}-format2") if path.name else path
        if folder_files.folder_is_there(path) and folder_files.record_bytes(path) is not None:
            raise ScenarioError.single(
                "a save into this folder was interrupted: open it in the version that wrote it and save it "
                "there; or, to go on with the files as they lie, delete the subfolder "
                f"{folder_files.STAGE}", value=path)
        files = folder_files.read_settled(path, _files)
        if os.path.lexists(target):
            raise ScenarioError.single("is there already; move it away, or upgrade a copy of the folder that "
                                       "has another name", value=target)
        files |= _logs(path, files)
        new = upgraded(files)
        save_files(target, new.files, {})
        return target, new, tuple(sorted({each.name for each in path.iterdir()} - set(files)))


def _files(files: folder_files.FolderFiles) -> dict[str, bytes]:
    """The scenario's own files with its orbit message, and its sign-offs."""
    faults = Faults()
    found = {name: files.read(name, faults) for name in (*FORMAT_1_FILES, fmt.SIGN_OFFS_FILE)
             if name == fmt.SCENARIO_FILE or files.has(name)}
    if orbit := orbit_name_in(parse_toml(found[fmt.SCENARIO_FILE], faults)):
        found[orbit] = files.read(orbit, faults)
    faults.stop_if_any()
    return {name: data for name, data in found.items() if data is not None}


def _logs(folder: Path, known: dict[str, bytes]) -> dict[str, bytes]:
    """The logs in a folder: files that are no tables of a scenario and have a log's columns."""
    names = [each.name for each in sorted(folder.glob("*.[cC][sS][vV]")) if each.is_file()]
    read = {name: log_bytes(folder / name) for name in names
            if name not in known and folder_files.is_plain_name(name)}
    return {name: data for name, data in read.items() if data is not None and is_log(data)}


def main(words: Sequence[str]) -> int:
    """Run the command; the number is what it ends with."""
    if len(words) != 1 or words[0].startswith("-"):
        print(_USAGE, file=sys.stderr)
        return 2
    try:
        target, new, left = upgrade_folder(words[0])
    except ScenarioError as error:
        print(visible(error, kept="\n"), "Nothing was written.", sep="\n", file=sys.stderr)
        return 2
    print(visible(f"Written: {target}"), *(f"  {one_line(line)}" for line in new.renamed), sep="\n")
    if fmt.SIGN_OFFS_FILE in new.files:
        print(f"  {fmt.SIGN_OFFS_FILE}: as it was; what was signed in format 1 is stale")
    if left:
        print(f"Left where they are: {', '.join(map(one_line, left))}")
    print(_NEXT)
    try:
        load_scenario(target)
    except ScenarioError as error:
        print("The new folder cannot be opened yet:", visible(error, kept="\n"), sep="\n", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    sys.exit(main(sys.argv[1:]))
