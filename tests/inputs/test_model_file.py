"""A body from a binary glTF file: read as another reader reads it, kept with the scenario, refused if bad.

The layout is that of the glTF 2.0 specification (Khronos; ISO/IEC 12113:2022), section "GLB File Format";
that it was understood is tested against trimesh (MIT), which we did not write.
"""

from __future__ import annotations

import io
import json
import math
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import planning_kit as pk
from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.input_changes import compare_inputs
from planning_kit.inputs.model_file import parts_of
from planning_kit.plan.surfaces import surfaces_of
from tests.conftest import SCENARIOS
from tests.edits import with_row
from tests.glb_bytes import box_content, box_glb, glb
from tests.inputs.git_repositories import commit, git

QUARTER = [0.0, 0.0, math.sin(math.pi / 4), math.cos(math.pi / 4)]  # a quarter turn about z


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The small outing with a model, 2 by 1 by 1 m, 20 m above the deck and turned by a quarter."""
    target = tmp_path / "outing"
    pk.load_scenario(SCENARIOS / "small-outing").save(target)
    (target / "arm.glb").write_bytes(box_glb())
    with_row(pk.load_scenario(target), "bodies", body="arm", kind="model", ends="0 0 -20", title="New arm",
             model="arm.glb", scale="2", yaw_deg="90").save()
    return target


def nested() -> bytes:
    """Two boxes by three nodes: turned, scaled, moved, mirrored by a matrix; no material on one."""
    content, binary = box_content(size=(2.0, 1.0, 0.5), middle=(3.0, 0.0, 0.0))
    content["nodes"] = [
        {"children": [1, 2], "translation": [10, 0, 0], "rotation": QUARTER, "scale": [2, 2, 2]},
        {"mesh": 0, "translation": [0, 0, 1], "rotation": [math.sin(0.4), 0, 0, math.cos(0.4)]},
        {"mesh": 1, "matrix": [-1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 5, 0, 1]}]
    content["meshes"].append({"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]})
    return glb(content, binary)


@pytest.mark.parametrize("data", [box_glb(), nested()], ids=["box", "nested"])
def test_corners_are_those_of_another_reader(data: bytes) -> None:
    trimesh = pytest.importorskip("trimesh")
    theirs = trimesh.load(io.BytesIO(data), file_type="glb", process=False).to_geometry()
    ours = np.concatenate([part.corners for part in parts_of(data)])
    assert len(ours) == len(theirs.triangles)

    def in_order(triangles: np.ndarray) -> np.ndarray:
        # From its least corner on: the way around stays, which says where outside is.
        turned = [np.roll(each, -min(range(3), key=lambda k: tuple(each[k].round(4))), axis=0)
                  for each in triangles]
        return np.array(sorted((each.round(4) + 0.0).tolist() for each in turned))

    assert in_order(ours) == pytest.approx(in_order(np.asarray(theirs.triangles)), abs=1e-3)
    assert theirs.volume > 0


def test_colours_are_shown_as_a_screen_has_them() -> None:
    # IEC 61966-2-1 (sRGB): linear 0.2159 is 128 of 255.
    part, = parts_of(box_glb(colour=(1.0, 0.2159, 0.0, 1.0)))
    assert part.colour == "#FF8000"
    assert [each.colour for each in parts_of(nested())].count("") == 1


def test_what_is_seen_from_both_sides_is_drawn_twice() -> None:
    content, binary = box_content()
    content["materials"][0]["doubleSided"] = True
    assert len(parts_of(glb(content, binary))[0].corners) == 24


def test_a_body_is_its_box_scaled_and_turned(folder: Path) -> None:
    solid = surfaces_of(pk.load_scenario(folder).records).solids[-1]
    assert solid.middle == pytest.approx([0, 0, -20])
    # 4 m along x became 4 m along y.
    assert solid.distance_m(np.array([[0, 3.0, -20], [3.0, 0, -20]])) == pytest.approx([1.0, 2.0])


def test_it_is_kept_by_saves_workbooks_and_revisions_and_compared(folder: Path, tmp_path: Path) -> None:
    scenario = pk.load_scenario(folder)
    assert (scenario.save(tmp_path / "copy").folder / "arm.glb").read_bytes() == box_glb()
    book = scenario.write_workbook(tmp_path / "outing.xlsx")
    from_book = pk.load_scenario(book)
    assert from_book.digest == scenario.digest == pk.load_scenario(tmp_path / "copy").digest
    assert (from_book.save(tmp_path / "back").folder / "arm.glb").read_bytes() == box_glb()

    git(folder, "init", "-q")
    commit(folder, "first")
    scenario = pk.load_scenario(folder)
    (folder / "arm.glb").write_bytes(box_glb(size=(3.0, 1.0, 1.0)))
    changed = pk.load_scenario(folder)
    assert changed.digest != scenario.digest
    told = compare_inputs(scenario.checked, changed.checked)
    assert [*told["table"]] == ["model"]
    assert [*told["row"]] == ["arm.glb"]
    assert pk.scenario_at(folder, "HEAD").digest == scenario.digest
    with pytest.raises(pk.SaveConflict, match=r"arm\.glb"):
        scenario.edit_row("bodies", "arm", title="Arm").save()


def test_an_edit_may_name_a_file_that_came_since(folder: Path) -> None:
    scenario = pk.load_scenario(folder)
    (folder / "dish.glb").write_bytes(box_glb())
    edited = scenario.edit_row("bodies", "arm", model="dish.glb")
    assert [model.file for model in edited.records.models] == ["dish.glb"]
    assert edited.save().digest == pk.load_scenario(folder).digest
    without = edited.drop_row("bodies", "arm")
    assert without.records.models == ()
    assert without.digest == pk.load_scenario(SCENARIOS / "small-outing").digest


def test_outings_share_a_model_of_their_campaign(tmp_path: Path) -> None:
    for name in ("one", "two"):
        pk.load_scenario(SCENARIOS / "small-outing").save(tmp_path / name)
        (tmp_path / name / "bodies.csv").unlink()
    (tmp_path / "campaign.toml").write_bytes((SCENARIOS / "tern-campaign" / "campaign.toml").read_bytes())
    (tmp_path / "bodies.csv").write_text("body,kind,ends,model\narm,model,0 0 -20,arm.glb\n")
    (tmp_path / "arm.glb").write_bytes(box_glb())
    outing = pk.load_scenario(tmp_path / "one")
    assert [model.file for model in outing.records.models] == ["arm.glb"]
    saved = outing.edit_row("tasks", outing.tasks["task"][0], title="Another").save()
    assert not (tmp_path / "one" / "arm.glb").exists()
    assert {"../bodies.csv", "../arm.glb"} <= {*saved.on_disk} <= {*outing.on_disk}
    alone = pk.load_scenario(tmp_path / "one").save(tmp_path / "alone")
    assert (tmp_path / "alone" / "arm.glb").exists()
    assert alone.digest == pk.load_scenario(tmp_path / "alone").digest


def damaged(change: Callable[[dict[str, Any]], object], binary: bytes | None = None) -> bytes:
    content, own = box_content()
    change(content)
    return glb(content, own if binary is None else binary)


def far_reaching(content: dict[str, Any]) -> None:
    content["accessors"][0]["count"] = 2**40


def many(content: dict[str, Any]) -> None:
    """One mesh of twelve triangles, named by so many nodes that they are more than may be drawn."""
    count = fmt.MAX_TRIANGLES // 12 + 1
    content["nodes"] = [{"mesh": 0}] * count
    content["scenes"][0]["nodes"] = [*range(count)]


HOSTILE = {
    "empty": (b"", "does not begin with glTF"),
    "text": (b"solid box\n" * 20, "does not begin with glTF"),
    "version 1": (glb({}, version=1), "version 1"),
    "cut off": (box_glb()[:-4], "cut off"),
    "a chunk beyond the end": (struct.pack("<4sIIII", b"glTF", 2, 20, 2**31, 0x4E4F534A), "beyond the end"),
    "no JSON first": (struct.pack("<4sIIII", b"glTF", 2, 20, 0, 0x004E4942), "not JSON"),
    "no object": (glb([1, 2]), "not as glTF 2.0"),
    "not UTF-8": (glb(b"\xff\xfe{}"), "not as glTF 2.0"),
    "deep": (glb(b"[" * 100_000), "not as glTF 2.0"),
    "glTF 1": (damaged(lambda each: each["asset"].update(version="1.0")), "other than 2"),
    "a file outside": (damaged(lambda each: each["buffers"][0].update(uri="../../secret.bin")), "outside of"),
    "an address": (damaged(lambda each: each.update(images=[{"uri": "http://example.org/a.png"}])),
                   "outside of"),
    "another buffer": (damaged(lambda each: each["bufferViews"][0].update(buffer=1)), "outside of"),
    "compressed": (damaged(lambda each: each.update(extensionsRequired=["KHR_draco_mesh_compression"])),
                   "KHR_draco"),
    "sparse": (damaged(lambda each: each["accessors"][0].update(sparse={})), "of a kind that is not read"),
    "lines": (damaged(lambda each: each["meshes"][0]["primitives"][0].update(mode=1)), "as triangles"),
    "a count too large": (damaged(far_reaching), "beyond its buffer"),
    "a negative place": (damaged(lambda each: each["bufferViews"][0].update(byteOffset=-8)), "beyond its"),
    "no step": (damaged(lambda each: each["bufferViews"][0].update(byteStride=0)), "beyond its buffer"),
    "no binary": (damaged(lambda _: None, b""), "beyond its buffer"),
    "corners that are not there": (damaged(lambda _: None, box_content()[1][:96] + b"\xff" * 72),
                                   "three corners"),
    "no number": (damaged(lambda _: None, struct.pack("<f", math.nan) + box_content()[1][4:]), "no number"),
    "endless": (damaged(lambda each: each["nodes"][0].update(children=[0])), "a part in itself"),
    "counted from behind": (damaged(lambda each: each["nodes"][0].update(mesh=-1)), "should count"),
    "nothing": (damaged(lambda each: each["nodes"][0].pop("mesh")), "no triangle"),
    "no rotation": (damaged(lambda each: each["nodes"][0].update(rotation=[0, 0, 0, 0])), "not as glTF 2.0"),
    "huge": (damaged(lambda each: each["nodes"][0].update(scale=[1e300] * 3, translation=[1e308] * 3)),
             "not as glTF 2.0|no number|farther"),
    "too many triangles": (damaged(many), "triangles"),
    "too large": (box_glb() + bytes(fmt.MAX_MODEL_BYTES), "larger than 2,000,000 bytes"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_file_is_one_fault_at_its_row(name: str, folder: Path) -> None:
    data, words = HOSTILE[name]
    (folder / "arm.glb").write_bytes(data)
    with pytest.raises(pk.ScenarioError, match=words) as told:
        pk.load_scenario(folder)
    row = len(pk.load_scenario(SCENARIOS / "small-outing").bodies) + 2
    found = told.value.problems
    assert found[["table", "row", "value"]].to_numpy().tolist() == [
        ["bodies", row, "2" if "scale" in [*found["column"]] else "arm.glb"]]


def test_numbers_in_a_file_are_never_a_traceback() -> None:
    """Every number, text and list of the JSON put in the place of every other."""
    content, binary = box_content(node={"rotation": QUARTER})

    def each_place(value: Any) -> Any:
        for key in value if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ():
            yield value, key
            yield from each_place(value[key])

    for where, key in [*each_place(content)]:
        kept = where[key]
        for wrong in (None, -1, 2**70, 1e999, "x", [], {}, [[]], True, 1.5):
            where[key] = wrong
            try:
                parts_of(glb(json.dumps(content).encode(), binary))
            except CellFault:
                continue
        where[key] = kept


@pytest.mark.parametrize(("name", "words"), [
    ("../arm.glb", "plain name"), ("/etc/arm.glb", "plain name"), ("http://host/arm.glb", "plain name"),
    ("arm.gltf", "plain name"), ("steps.csv", "plain name"), ("none.glb", "not in the scenario's folder")])
def test_only_files_of_the_folder_can_be_named(folder: Path, name: str, words: str) -> None:
    with pytest.raises(pk.ScenarioError, match=words) as told:
        pk.load_scenario(folder).edit_row("bodies", "arm", model=name)
    assert [*told.value.problems["column"]] == ["model"]


def test_a_size_that_nobody_can_mean_is_told_in_few_words(folder: Path) -> None:
    scenario = pk.load_scenario(folder)
    for words, node, scale in (("m large, of which nothing is seen", {}, 1e-9),
                               ("makes it 0 m large", {"scale": [0, 0, 0]}, 1.0),
                               (r"reach 1e\+300 m", {"scale": [1e300, 1, 1]}, 1.0)):
        (folder / "new.glb").write_bytes(box_glb(node=node))
        with pytest.raises(pk.ScenarioError, match=words) as told:
            scenario.edit_row("bodies", "arm", model="new.glb", scale=scale)
        assert [*told.value.problems["column"]] == ["scale"]
        assert len(str(told.value)) < 300


def test_a_link_out_of_the_folder_is_not_read(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "far.glb").write_bytes(box_glb())
    (folder / "arm.glb").unlink()
    (folder / "arm.glb").symlink_to(tmp_path / "far.glb")
    with pytest.raises(pk.ScenarioError, match="leads out of its folder") as told:
        pk.load_scenario(folder)
    assert [*told.value.problems["column"]] == ["model"]


def test_files_and_triangles_of_all_rows_are_limited(folder: Path) -> None:
    scenario = pk.load_scenario(folder)
    rows = [{"body": f"B{n}", "kind": "model", "ends": "0 0 -20", "model": "arm.glb"}
            for n in range(fmt.MAX_TRIANGLES // 12 + 1)]
    with pytest.raises(pk.ScenarioError, match="at most 20,000 are drawn"):
        scenario.add_row("bodies", *rows)
    for n in range(fmt.MAX_MODELS + 1):
        (folder / f"m{n}.glb").write_bytes(box_glb())
    named = [row | {"model": f"m{n}.glb"} for n, row in enumerate(rows[:fmt.MAX_MODELS + 1])]
    with pytest.raises(pk.ScenarioError, match="at most 10 are read"):
        scenario.add_row("bodies", *named)


def test_a_damaged_workbook_is_told(folder: Path, tmp_path: Path) -> None:
    import openpyxl

    book = pk.load_scenario(folder).write_workbook(tmp_path / "outing.xlsx")
    sheets = openpyxl.load_workbook(book)
    sheets["models"]["B2"] = "no base64!"
    sheets.save(book)
    with pytest.raises(pk.ScenarioError, match="base64"):
        pk.load_scenario(book)


def test_a_workbook_has_no_files_beside_it(folder: Path) -> None:
    from_book = pk.load_scenario(pk.load_scenario(folder).write_workbook(folder / "outing.xlsx"))
    (folder / "dish.glb").write_bytes(box_glb())
    with pytest.raises(pk.ScenarioError, match="not in the scenario's folder") as told:
        from_book.edit_row("bodies", "arm", model="dish.glb")
    assert [*told.value.problems["column"]] == ["model"]
