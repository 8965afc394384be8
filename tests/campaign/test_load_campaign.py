"""Reading a campaign: what an outing takes from above, every fault at once, a stranger's folder."""

from __future__ import annotations

import os
import shutil
from contextlib import suppress
from pathlib import Path

import pytest

import planning_kit as pk
from tests.attack.hostile import PAYLOADS
from tests.campaign.made_campaign import CAMPAIGN_TOML, write_campaign
from tests.campaign.test_campaign_checks import STEPS
from tests.conftest import SCENARIOS


def problems(folder: Path) -> set[tuple[str, str]]:
    with pytest.raises(pk.ScenarioError) as told:
        pk.load_campaign(folder)
    return set(zip(told.value.problems["table"], told.value.problems["column"], strict=True))


def test_an_outing_alone_says_the_same_as_through_the_campaign(tmp_path: Path) -> None:
    campaign = pk.load_campaign(write_campaign(tmp_path / "c"))
    alone = pk.load_scenario(tmp_path / "c" / "one")
    assert alone.digest == campaign.scenario("one").digest
    assert alone.digest == pk.load_scenario(SCENARIOS / "small-outing").digest
    assert list(campaign.outings["outing"]) == ["one", "two"]
    assert list(campaign.backlog["task"]) == ["CLN", "CAS"]
    assert str(campaign.plan("two").pet_zero.date()) == "2031-09-05"


def test_a_save_writes_only_what_the_folder_owns(tmp_path: Path) -> None:
    folder = write_campaign(tmp_path / "c") / "one"
    scenario = pk.load_scenario(folder)
    before = {path.name for path in folder.iterdir()}
    saved = scenario.edit_row("tasks", "CLN", title="Tidy").save()
    assert {path.name for path in folder.iterdir()} == before
    assert saved.sign_off("Ada")["state"].iloc[-1] == "current"
    assert pk.load_scenario(folder).digest == saved.digest
    # What the outing says otherwise is its own from then on; the campaign's table stays.
    above = (folder.parent / "hardware.csv").read_bytes()
    mine = saved.edit_row("hardware", "driver", title="My driver").save()
    assert {path.name for path in folder.iterdir()} == before | {"hardware.csv", "sign_offs.toml"}
    assert (folder.parent / "hardware.csv").read_bytes() == above
    assert pk.load_scenario(folder).digest == mine.digest
    whole = scenario.save(tmp_path / "alone")
    assert {"places.csv", "routes.csv", "hardware.csv"} <= {path.name for path in whole.folder.iterdir()}
    assert pk.load_scenario(tmp_path / "alone").digest == scenario.digest


def test_a_table_above_that_was_changed_is_a_conflict(tmp_path: Path) -> None:
    folder = write_campaign(tmp_path / "c") / "one"
    scenario = pk.load_scenario(folder).edit_row("tasks", "CLN", title="Tidy")
    path = folder.parent / "places.csv"
    path.write_text(path.read_text().replace("Hatch", "Door"))
    with pytest.raises(pk.SaveConflict, match=r"\.\./places\.csv"):
        scenario.save()


def test_it_is_looked_for_one_level_up_and_nowhere_else(tmp_path: Path) -> None:
    folder = write_campaign(tmp_path / "c")
    deeper = folder / "more" / "one"
    shutil.copytree(folder / "one", deeper)
    with pytest.raises(pk.ScenarioError, match="places"):
        pk.load_scenario(deeper)
    (folder / "campaign.toml").unlink()
    with pytest.raises(pk.ScenarioError, match="places"):
        pk.load_scenario(folder / "one")
    with pytest.raises(pk.ScenarioError, match="no folder of a campaign"):
        pk.load_campaign(folder)


def test_every_fault_of_every_file_is_told_at_once(tmp_path: Path) -> None:
    toml = CAMPAIGN_TOML.replace("station =", "statoin =").replace("2031-09-04", "2031-09-01").replace(
        'work_after = "A1"', 'work_after = "A9"').replace('[["Ada", "Ben"], ["Ben", "Cy"]]', '["Ada"]')
    backlog = ("task,title,need,after,place,steps,minutes_likely,minutes_high,items,value\n"
               "A,,required,B,nowhere,,10,,foo,1\nB,,optional,A,,steps.csv,,,,-1\nB,,maybe,,,no.csv,,,,\n"
               "C,,required,,,,,,,\nD,,required,,,,20,10,,\nE,,required,,,steps-e.csv,,,,\n")
    folder = write_campaign(tmp_path / "c", toml, backlog)
    steps = (SCENARIOS / "small-outing" / "steps.csv").read_text().splitlines()
    (folder / "steps-e.csv").write_text(
        "\n".join([steps[0], steps[2].replace("LMP", "E").replace("lamp-new", "no-such")]) + "\n")
    path = folder / "places.csv"
    path.write_text(path.read_text().replace("Hatch,0,", "Hatch,x,"))
    path = folder / "two" / "tasks.csv"
    path.write_text(path.read_text().replace("required,2", "needed,2"))
    found = problems(folder)
    assert {("campaign.toml", "statoin"), ("campaign.toml", "station"),
            ("campaign.toml", "outings.one.latest"), ("campaign.toml", "outings.two.crew"),
            ("backlog", "after"), ("backlog", "place"),
            ("backlog", "items"), ("backlog", "value"), ("backlog", "steps"), ("backlog", "task"),
            ("backlog", "need"), ("backlog", "minutes_likely"), ("steps-e", "takes"), ("places", "x_m"),
            } <= found
    with pytest.raises(pk.ScenarioError) as told:
        pk.load_campaign(folder)
    assert list(told.value.problems["table"]).count("places") == 1, "once, not for each outing"
    toml = CAMPAIGN_TOML.replace('work_after = "A1"', 'work_after = "A9"')
    assert problems(write_campaign(tmp_path / "d", toml)) == {("campaign.toml", "outings.one.work_after")}


@pytest.mark.parametrize("sub", ["..", "../one", "/etc", "one/../two", ".hidden", "linked", "no-such"])
def test_no_folder_out_of_the_campaign_is_read(tmp_path: Path, sub: str) -> None:
    folder = write_campaign(tmp_path / "c", CAMPAIGN_TOML.replace('folder = "one"', f'folder = "{sub}"'))
    if sub == "linked":
        os.rename(folder / "one", tmp_path / "elsewhere")
        os.symlink(tmp_path / "elsewhere", folder / "linked")
    assert {table for table, _ in problems(folder)} <= {"campaign.toml", "one"}


@pytest.mark.parametrize("name", [
    "places.csv", "hardware.csv", "campaign.toml", "backlog.csv", "steps-e.csv"])
def test_links_out_devices_and_monstrous_files_are_refused(tmp_path: Path, name: str) -> None:
    folder = write_campaign(tmp_path / "c", backlog="task,title,need,steps\nLMP,,required,steps-e.csv\n")
    steps = (SCENARIOS / "small-outing" / "steps.csv").read_text().splitlines()
    lamp = [row for row in steps if ",LMP," in row]
    (folder / "steps-e.csv").write_text("\n".join([steps[0], *lamp]) + "\n")
    assert pk.load_campaign(folder).source.steps["LMP"][0].step == "B1"
    os.rename(folder / name, tmp_path / name)
    os.symlink(tmp_path / name, folder / name)
    assert {table.removesuffix(".csv") for table, _ in problems(folder)} & {name.removesuffix(".csv")}
    if name in ("places.csv", "hardware.csv"):
        with pytest.raises(pk.ScenarioError, match="link"):
            pk.load_scenario(folder / "one")
    (folder / name).unlink()
    os.mkfifo(folder / name)
    assert problems(folder)
    (folder / name).unlink()
    (folder / name).write_bytes(b"x" * 1_000_001 if name != "places.csv" else b"place," + b"x" * 3_000_000)
    assert problems(folder)


def test_hostile_text_of_a_campaign_raises_only_what_is_told_or_is_shown_as_typed(tmp_path: Path) -> None:
    for number, text in enumerate(PAYLOADS):
        cell = '"' + text.replace('"', '""') + '"'
        toml = CAMPAIGN_TOML.replace('"Two outings"', repr_toml(text)).replace('"Ben"', repr_toml(text))
        backlog = f"task,title,need,minutes_likely,trained\nCLN,{cell},required,20,{cell}\n"
        folder = write_campaign(tmp_path / str(number), toml, backlog)
        with suppress(pk.ScenarioError):
            shown_as_typed(pk.load_campaign(folder))


def shown_as_typed(campaign: pk.Campaign) -> None:
    tables = [campaign.backlog, campaign.findings(), campaign.outings]
    pages = [each._repr_html_() for each in tables]
    assert not any("<img" in page or "<script" in page for page in pages)
    assert not any("\nFORGED" in page for page in (repr(campaign), *map(repr, tables)))


def repr_toml(text: str) -> str:
    return '"' + "".join(f"\\U{ord(char):08X}" for char in text) + '"'


def test_one_id_in_two_files_of_steps_is_a_fault_with_both(tmp_path: Path) -> None:
    folder = write_campaign(tmp_path / "c", backlog=(
        "task,title,need,steps\nA,,required,steps-a.csv\nB,,optional,steps-b.csv\nC,,optional,steps-b.csv\n"))
    for name, rows in (("a", (("S1", "A"), ("S2", "A"))), ("b", (("S3", "B"), ("S2", "B"), ("S4", "C")))):
        (folder / f"steps-{name}.csv").write_text(STEPS + "".join(
            f"{step},{task},EV1,MID,Work,,5,{',' * 13}\n" for step, task in rows))
    with pytest.raises(pk.ScenarioError) as told:
        pk.load_campaign(folder)
    assert told.value.problems[["table", "row", "column", "value"]].to_numpy().tolist() == [
        ["steps-b", 3, "step", "S2"]]
    assert "steps-a.csv" in str(told.value)
    assert "steps-b.csv" in str(told.value)
    path = folder / "steps-b.csv"
    path.write_text(path.read_text().replace("S2", "S5"))
    assert len(pk.load_campaign(folder).source.steps) == 3


def test_one_person_as_both_and_a_file_of_steps_that_is_not_there_are_faults(tmp_path: Path) -> None:
    toml = CAMPAIGN_TOML.replace('["Ben", "Cy"]', '["Cy", "Cy"]')
    folder = write_campaign(tmp_path / "c", toml, "task,title,need,steps\nA,,required,steps-a.csv\n")
    with pytest.raises(pk.ScenarioError) as told:
        pk.load_campaign(folder)
    rows = told.value.problems
    assert rows[["table", "column"]].to_numpy().tolist() == [
        ["backlog", "steps"], ["campaign.toml", "outings.two.crew"]]
    assert rows["problem"].iloc[0] == "is not in the campaign's folder; put the file there"
    assert rows["problem"].iloc[1].startswith("names one person as EV1 and as EV2")
