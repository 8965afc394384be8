"""The triangles of a binary glTF 2.0 file (.glb), read from its bytes: nothing else is opened or fetched.

Source: glTF 2.0 specification, Khronos (ISO/IEC 12113:2022): the binary container, accessors, nodes. Read are
positions, indices, transforms and plain base colours of triangles. Textures, colours of corners, animations,
skins and cameras are not; what would be drawn wrongly without them (extensions that a file requires, sparse
data, lines, strips) is refused. A file may come from a stranger: sizes are limited before anything is made,
and whatever else breaks in it is one fault.
"""

import json
import math
import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.fields import FAR_M
from planning_kit.inputs.folder_files import digest_of, is_model_name
from planning_kit.inputs.shown_text import visible
from planning_kit.inputs.station_records import MODEL, Model
from planning_kit.inputs.typed_tables import Rows

_MAGIC, _VERSION, _JSON, _BINARY = 0x46546C67, 2, 0x4E4F534A, 0x004E4942
_FLOAT, _TRIANGLES = 5126, 4
_INDEX_TYPES = {5121: "<u1", 5123: "<u2", 5125: "<u4"}
_MOST_NODES = 10_000
_LEAST_M = 0.001  # less is drawn as nothing
_NOT_CLEAR = "is not as glTF 2.0 has it; write it anew"


@dataclass(frozen=True, eq=False)
class Part:
    """Triangles of one colour: corners (n, 3, 3) in the axes and units of the file, ``#RRGGBB``."""

    corners: NDArray[np.float64]
    colour: str


def models_of(rows: Rows, given: Mapping[str, bytes | str], faults: Faults) -> tuple[Model, ...]:
    """The files that bodies name, each once. ``given``: their bytes, or in words why there are none.

    Every fault of a file is noted at the rows that name it.
    """
    found, drawn = dict[str, Model](), 0
    for row in rows["bodies"]:
        name, scale = row.text("model"), row.values.get("scale")
        if row.text("kind") != MODEL or not is_model_name(name):
            continue
        data = given.get(name, "is not in the scenario's folder; put the file there")
        try:
            if isinstance(data, str):
                raise CellFault(data)
            found[name], count = _model(name, data)
        except CellFault as fault:
            row.fault(faults, "model", str(fault))
            continue
        drawn += count
        ends = *found[name].least, *found[name].most
        reach_m = max(map(abs, ends)) * scale if isinstance(scale, float) else 0.0
        if reach_m > FAR_M:
            row.fault(faults, "scale", f"makes it reach {reach_m:,.6g} m from its origin, farther than "
                      f"{FAR_M:,.0f} m; a file in millimetres needs 0.001")
        size_m = max(most - least for least, most in zip(found[name].least, found[name].most, strict=True))
        if isinstance(scale, float) and size_m * scale < _LEAST_M:
            row.fault(faults, "scale", f"makes it {size_m * scale:.3g} m large, of which nothing is seen: "
                      f"give a scale that makes it at least {_LEAST_M:g} m, or mend the sizes in the file")
        if drawn > fmt.MAX_TRIANGLES:
            row.fault(faults, "model", f"brings the triangles of all bodies to {drawn:,}; at most "
                      f"{fmt.MAX_TRIANGLES:,} are drawn: write it with fewer")
            break
    if len(found) > fmt.MAX_MODELS:
        faults.of_file("bodies", f"name {len(found)} model files, at most {fmt.MAX_MODELS} are read")
    return tuple(found.values())


@lru_cache(maxsize=2 * fmt.MAX_MODELS)
def _model(name: str, data: bytes) -> tuple[Model, int]:
    """The box around a file, and how many triangles it has: asked at each edit, of each row that names it."""
    corners = np.concatenate([part.corners for part in parts_of(data)]).reshape(-1, 3)
    least, most = ((float(x), float(y), float(z)) for x, y, z in (corners.min(axis=0), corners.max(axis=0)))
    return Model(name, digest_of(data), least, most), len(corners) // 3


@lru_cache(maxsize=2 * fmt.MAX_MODELS)
def parts_of(data: bytes) -> tuple[Part, ...]:
    """What is drawn of a file. Raises `CellFault`."""
    if len(data) > fmt.MAX_MODEL_BYTES:
        raise CellFault(f"is larger than {fmt.MAX_MODEL_BYTES:,} bytes; write it with fewer triangles")
    try:
        content, binary = _chunks(data)
        with np.errstate(over="raise", invalid="raise", divide="raise"):
            return tuple(_parts(content, binary))
    except CellFault:
        raise
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, ArithmeticError, RecursionError,
            struct.error) as error:
        raise CellFault(f"{_NOT_CLEAR} ({type(error).__name__}: {visible(error)[:80]})") from None


def _chunks(data: bytes) -> tuple[dict[str, Any], bytes]:
    """Its JSON, and its binary buffer: a header of 12 bytes, then chunks of length, kind and content."""
    if len(data) < 12 or struct.unpack_from("<I", data)[0] != _MAGIC:
        raise CellFault("is no binary glTF file: it does not begin with glTF; export it as .glb")
    _, version, length = struct.unpack_from("<III", data)
    if version != _VERSION:
        raise CellFault(f"is binary glTF of version {version}; export it as version {_VERSION}")
    if length != len(data):
        raise CellFault(f"is cut off or has more behind it: it says {length:,} bytes, and has {len(data):,}")
    chunks, at = [], 12
    while at < length:
        size, kind = struct.unpack_from("<II", data, at)
        if at + 8 + size > length:
            raise CellFault("is damaged: a chunk reaches beyond the end of the file")
        chunks.append((kind, data[at + 8:at + 8 + size]))
        at += 8 + size
    if not chunks or chunks[0][0] != _JSON:
        raise CellFault("is damaged: its first chunk is not JSON")
    content = json.loads(chunks[0][1].decode("utf-8"))
    if not str(content["asset"]["version"]).startswith("2."):
        raise CellFault("is glTF of a version other than 2; export it as glTF 2.0")
    if content.get("extensionsRequired"):
        names = visible(", ".join(map(str, content["extensionsRequired"])))[:100]
        raise CellFault(f"cannot be read without {names}; export it without compression and extensions")
    files = [*content.get("buffers", []), *content.get("images", [])]
    outside = [each["uri"] for each in files if "uri" in each]
    if outside:
        raise CellFault(f"names something outside of its own buffer ({visible(outside[0])[:60]}); export it "
                        "with all in one .glb file")
    return content, chunks[1][1] if len(chunks) > 1 and chunks[1][0] == _BINARY else b""


def _parts(content: Mapping[str, Any], binary: bytes) -> Iterator[Part]:
    count = 0
    for matrix, mesh in _meshes(content):
        for primitive in mesh["primitives"]:
            if primitive.get("mode", _TRIANGLES) != _TRIANGLES:
                raise CellFault("holds points, lines or strips; export it as triangles")
            look = _at(content["materials"], primitive["material"]) if "material" in primitive else {}
            at = _accessor(content, binary, primitive["attributes"]["POSITION"], "VEC3", {_FLOAT: "<f4"})
            order = np.arange(len(at)) if "indices" not in primitive else _accessor(
                content, binary, primitive["indices"], "SCALAR", _INDEX_TYPES)[:, 0].astype(np.intp)
            sides = 2 if look.get("doubleSided") else 1
            count += len(order) // 3 * sides
            if count > fmt.MAX_TRIANGLES:
                raise CellFault(f"has more than {fmt.MAX_TRIANGLES:,} triangles; write it with fewer")
            if len(order) % 3 or (len(order) and int(order.max()) >= len(at)):
                raise CellFault(f"{_NOT_CLEAR} (a triangle without three corners)")
            corners = at[order].astype(float).reshape(-1, 3, 3) @ matrix[:3, :3].T + matrix[:3, 3]
            if not np.isfinite(corners).all():
                raise CellFault(f"{_NOT_CLEAR} (a corner that is no number)")
            if np.linalg.det(matrix[:3, :3]) < 0:  # mirrored: what was its outside would look inwards
                corners = corners[:, ::-1]
            if len(corners):
                both = [corners, corners[:, ::-1]][:sides]
                yield Part(np.concatenate(both), _colour(look))
    if not count:
        raise CellFault("holds no triangle to be drawn")


def _meshes(content: Mapping[str, Any]) -> Iterator[tuple[NDArray[np.float64], Mapping[str, Any]]]:
    """Each mesh of the scene with what moves it. Nodes are a tree: one that comes twice is a fault."""
    nodes = content["nodes"]
    waiting = [(number, np.eye(4)) for number in _at(content["scenes"], content.get("scene", 0))["nodes"]]
    seen = set[int]()
    while waiting:
        number, above = waiting.pop()
        node = _at(nodes, number)
        if number in seen or len(seen) > _MOST_NODES:
            raise CellFault(f"{_NOT_CLEAR} (a part in itself or in two, or over {_MOST_NODES:,} parts)")
        seen.add(number)
        matrix = above @ _matrix(node)
        waiting += [(child, matrix) for child in node.get("children", [])]
        if "mesh" in node:
            yield matrix, _at(content["meshes"], node["mesh"])


def _matrix(node: Mapping[str, Any]) -> NDArray[np.float64]:
    if "matrix" in node:  # column after column
        return np.array(node["matrix"], dtype=float).reshape(4, 4).T
    x, y, z, w = np.array(node.get("rotation", (0, 0, 0, 1)), dtype=float) / math.hypot(
        *node.get("rotation", (1,)))
    matrix = np.eye(4)
    matrix[:3, :3] = np.array([
        [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
        [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
        [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
    ]) * np.array(node.get("scale", (1, 1, 1)), dtype=float).reshape(3)
    matrix[:3, 3] = node.get("translation", (0, 0, 0))
    return matrix


def _accessor(content: Mapping[str, Any], binary: bytes, number: int, shape: str,
              types: Mapping[int, str]) -> NDArray[Any]:
    """Numbers of the binary buffer, a row each. Raises `CellFault` where they reach beyond it."""
    accessor = _at(content["accessors"], number)
    if accessor["type"] != shape or accessor["componentType"] not in types or "sparse" in accessor:
        raise CellFault("holds positions or indices of a kind that is not read; export it uncompressed")
    view = _at(content["bufferViews"], accessor["bufferView"])
    if view["buffer"] != 0:
        raise CellFault("keeps its corners outside of its own buffer; export it with all in one .glb file")
    kind, columns = np.dtype(types[accessor["componentType"]]), 3 if shape == "VEC3" else 1
    count, step = accessor["count"], view.get("byteStride", columns * kind.itemsize)
    start, inner = view.get("byteOffset", 0), accessor.get("byteOffset", 0)
    last = inner + step * (count - 1) + columns * kind.itemsize
    are_sane = all(type(each) is int and each >= 0 for each in (count - 1, step, start, inner))
    if not are_sane or last > min(view["byteLength"], len(binary) - start) or step < columns * kind.itemsize:
        raise CellFault("is damaged: its corners reach beyond its buffer")
    return np.ndarray((count, columns), kind, binary, start + inner, (step, kind.itemsize))


def _colour(look: Mapping[str, Any]) -> str:
    """The base colour as ``#RRGGBB``: glTF has it linear, a screen as IEC 61966-2-1 (sRGB); "" for none."""
    linear = look.get("pbrMetallicRoughness", {}).get("baseColorFactor")
    if linear is None:
        return ""
    parts = np.clip(np.array(linear[:3], dtype=float).reshape(3), 0.0, 1.0)
    shown = np.where(parts <= 0.0031308, parts * 12.92, 1.055 * parts ** (1 / 2.4) - 0.055)
    return "#" + "".join(f"{round(float(each) * 255):02X}" for each in shown)


def _at(entries: Sequence[Any], number: object) -> Any:
    if type(number) is not int or number < 0:
        raise CellFault(f"{_NOT_CLEAR} (a number that should count)")
    return entries[number]
