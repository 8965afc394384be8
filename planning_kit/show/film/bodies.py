"""Bodies to be drawn: cylinders, boxes and domes; a truss becomes its members, a model its triangles."""

from collections.abc import Iterator, Mapping
from itertools import pairwise

import numpy as np

from planning_kit.inputs import station_records as rec
from planning_kit.inputs.model_file import parts_of
from planning_kit.inputs.shown_text import one_line
from planning_kit.plan.surfaces import Solid, Vector
from planning_kit.show.film.tracks import Data, vector

PLAIN = "#C9CDD2"
_CHORD, _BRACE = 0.045, 0.028  # radius of the members of a truss, as shares of its width
_MOST_BAYS = 40


def drawn_solid(solid: Solid, models: Mapping[str, bytes]) -> Iterator[Data]:
    """What is drawn of one body, in the station frame, metres; ``models``: files by name."""
    body = solid.body
    look = {"color": body.colour or PLAIN, "title": one_line(body.title), "zone": body.zone, "id": body.body}
    start, end = solid.middle, solid.middle + solid.axes[2] * solid.length
    if body.kind == rec.MODEL:
        for part in parts_of(models[body.model]):
            at = np.array(body.ends[0]) + part.corners.reshape(-1, 3) * body.scale @ solid.axes
            points, order = np.unique(at.round(4), axis=0, return_inverse=True)
            colour = body.colour or part.colour or PLAIN
            yield {**look, "kind": "model", "color": colour, "points": vector(points.ravel()),
                   "corners": order.ravel().tolist(), "least": vector(points.min(axis=0)),
                   "most": vector(points.max(axis=0))}
    elif body.kind == rec.TRUSS:
        yield from (_rod(one, other, radius, look) for one, other, radius in truss_members(solid))
    elif body.kind in (rec.BOX, rec.PANEL):
        yield {"kind": "box", "center": vector(solid.middle), "size": vector(solid.half * 2),
               "axes": [vector(axis, 6) for axis in solid.axes], **look}
    elif body.kind == rec.DOME:
        yield {"kind": "dome", "center": vector(start), "axis": vector(solid.axes[2], 6),
               "radius": round(solid.length, 4), **look}
    else:
        one, other = solid.radii
        yield {"kind": "cylinder", "a": vector(start), "b": vector(end), "ra": one, "rb": other, **look}


def _rod(one: Vector, other: Vector, radius: float, look: Data) -> Data:
    return {"kind": "cylinder", "a": vector(one), "b": vector(other), "ra": round(radius, 4),
            "rb": round(radius, 4), **look}


def truss_members(solid: Solid) -> Iterator[tuple[Vector, Vector, float]]:
    """Two ends and radius of each member: four chords, and a frame and four diagonals a bay."""
    width = float(solid.half[0]) * 2
    bays = solid.body.bays or min(max(round(solid.length / width), 1), _MOST_BAYS)
    inner = width * (0.5 - _CHORD)
    corners = [np.array([x * inner, y * inner, 0.0]) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    heights = np.linspace(-0.5, 0.5, bays + 1) * solid.length

    def at(corner: int, height: float) -> Vector:
        return np.asarray(solid.middle + (corners[corner % 4] + [0.0, 0.0, height]) @ solid.axes)

    for corner in range(4):
        yield at(corner, heights[0]), at(corner, heights[-1]), width * _CHORD
        yield from ((at(corner, height), at(corner + 1, height), width * _BRACE) for height in heights)
        for number, (low, high) in enumerate(pairwise(heights)):
            turn = number % 2
            yield at(corner + turn, low), at(corner + 1 - turn, high), width * _BRACE
