"""Binary glTF files made in bytes: a box, and what somebody may want to do to a reader."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from typing import Any

# Corners of a box, and twelve triangles whose corners go counter-clockwise as seen from outside.
_SIGNS = [(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]
_FACES = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
_ORDER = [corner for a, b, c, d in _FACES for corner in (a, b, c, a, c, d)]


def glb(content: object, binary: bytes = b"", version: int = 2) -> bytes:
    """A file of two chunks, each filled up to four bytes."""
    text = content if isinstance(content, bytes) else json.dumps(content).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    if binary:
        binary += b"\0" * (-len(binary) % 4)
        chunks += struct.pack("<II", len(binary), 0x004E4942) + binary
    return struct.pack("<4sII", b"glTF", version, 12 + len(chunks)) + chunks


def box_content(size: tuple[float, float, float] = (2.0, 1.0, 1.0), middle: tuple[float, ...] = (0, 0, 0),
                node: Mapping[str, Any] | None = None, colour: tuple[float, ...] = (1.0, 0.0, 0.0, 1.0),
                ) -> tuple[dict[str, Any], bytes]:
    """A box as JSON and binary buffer."""
    corners = [[middle[k] + sign[k] * size[k] / 2 for k in range(3)] for sign in _SIGNS]
    binary = b"".join(struct.pack("<3f", *corner) for corner in corners)
    binary += struct.pack(f"<{len(_ORDER)}H", *_ORDER)
    return {
        "asset": {"version": "2.0"}, "scene": 0, "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, **(node or {})}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1, "material": 0}]}],
        "materials": [{"pbrMetallicRoughness": {"baseColorFactor": list(colour)}}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 8, "type": "VEC3",
             "min": [min(each[k] for each in corners) for k in range(3)],
             "max": [max(each[k] for each in corners) for k in range(3)]},
            {"bufferView": 1, "componentType": 5123, "count": len(_ORDER), "type": "SCALAR"}],
        "bufferViews": [{"buffer": 0, "byteOffset": 0, "byteLength": 96},
                        {"buffer": 0, "byteOffset": 96, "byteLength": 2 * len(_ORDER)}],
        "buffers": [{"byteLength": len(binary)}],
    }, binary


def box_glb(*asked: Any, **more: Any) -> bytes:
    """A box as a file."""
    return glb(*box_content(*asked, **more))
