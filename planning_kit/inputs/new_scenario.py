"""An outing from nothing: the files of ``blank/``, which time at once, with a station, PET 0, orbit and crew.

What the format cannot do without is there as a placeholder that says so; no other limit is given.
"""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults, ScenarioError, as_path, must_be
from planning_kit.inputs.folder_files import holds_something, is_workbook, read_path
from planning_kit.inputs.raw import read_tables
from planning_kit.inputs.scenario import Scenario, load_scenario
from planning_kit.inputs.setting_records import FrozenMapping
from planning_kit.inputs.settings import edited_toml, is_sane_file_name
from planning_kit.inputs.source import Source, check

_ORBIT_NAME = "orbit.txt"


def new_scenario(folder: str | Path, *, station: str, pet_zero_utc: str | datetime, orbit: str | Path,
                 crew: dict[str, Mapping[str, object]] | None = None) -> Scenario:
    """Write a small outing to begin with, into a new ``folder`` or ``.xlsx`` file; gives the scenario.

    ``orbit`` is a file or its text, ``crew`` as for ``Scenario.with_crew`` (``{"EV1": {"name": "Ada"}}``). It
    has an airlock, a worksite, a way and three steps, and can be timed. What no scenario can do without is
    marked ``placeholder``, a concern until that word is gone; no other limit is given. ``scenario.toml``
    explains every key. Raises `ScenarioError` where something is there, and for all that is wrong.
    """
    target, faults = as_path(folder, "folder").absolute(), Faults()
    if holds_something(target):
        raise ScenarioError.single("is there already; give another name", column="folder", value=target)
    name, data = _orbit(orbit)
    blank = {path.name: path.read_bytes() for path in (Path(__file__).parent / "blank").iterdir()}
    keys = {"station": station, "pet_zero_utc": pet_zero_utc, "orbit": name}
    toml = edited_toml(blank[fmt.SCENARIO_FILE], keys, faults)
    source = Source(toml, FrozenMapping(read_tables(blank, faults)), name, data)
    scenario = Scenario(target, check(source, None, faults), FrozenMapping({}))
    how = "must be a dict, such as {'EV1': {'name': 'Ada'}}"
    scenario = scenario.with_crew(**must_be(crew or {}, dict, "crew", how))
    return load_scenario(scenario.write_workbook(target)) if is_workbook(target) else scenario.save()


def _orbit(orbit: str | Path) -> tuple[str, bytes]:
    """The name and the bytes of an orbit file: several lines, or one in brackets, are its text."""
    if isinstance(orbit, str) and ("\n" in orbit.strip() or orbit.lstrip()[:1] in tuple("{[<")):
        return _ORBIT_NAME, orbit.encode("utf-8", "surrogatepass")
    path = as_path(orbit, "orbit")
    return path.name if is_sane_file_name(path.name) else _ORBIT_NAME, read_path(path, path.name)
