"""Colours and signs of the charts.

Nothing is told by colour alone: kinds of activity differ in height and pattern, severities in shape, tasks by
a letter. Task fills are four of the "light" qualitative scheme of P. Tol, "Colour schemes"
(SRON/EPS/TN/09-002, issue 3.2, 2021), made for labelled cells under dark text: the four that colour-blind
readers tell apart best; with any fifth two look alike (`tests/show/test_palette.py` measures it).
In stills the crew are blue and vermilion, the pair of M. Okabe and K. Ito that colour-blind readers tell
apart (values from memory; the vermilion darker on white and lighter on dark ground, to be read as text).
All fills are light, so one dark ink reads on each of them, on paper as on a dark screen. On grey paper fills
look alike: there patterns tell tasks apart (`patterns_of`).
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import count, pairwise, product

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import Task
from planning_kit.plan.activities import WORK, Activity

TASK_FILLS = ("#99DDFF", "#EEDD88", "#44BB99", "#AAAA00")
NO_TASK_FILL = "#DDDDDD"
INK_ON_FILL = "#15181C"
CLEAR = "rgba(0,0,0,0)"


@dataclass(frozen=True)
class Theme:
    """Colours of the ground a chart is drawn on."""

    paper: str
    ink: str
    quiet_ink: str
    grid: str
    lane: str
    bar_outline: str
    night_shade: str
    night: str
    night_ink: str
    penumbra: str
    day: str
    day_ink: str
    link: str
    stop: str
    concern: str
    remark: str
    casing_px: float
    crew: tuple[str, str]


LIGHT = Theme(
    paper="#FFFFFF", ink="#1B1F24", quiet_ink="#57606A", grid="rgba(27,31,36,0.13)",
    lane="rgba(27,31,36,0.035)", bar_outline="#15181C", night_shade="rgba(42,52,84,0.13)", night="#2E3856",
    night_ink="#FFFFFF", penumbra="#8C93A8", day="#FFF3C9", day_ink="#4A4020", link="#6B7C93", stop="#B3161B",
    concern="#E69F00", remark="#FFFFFF", casing_px=0.0,
    crew=("#0072B2", "#C44E00"),
)
DARK = Theme(
    paper="#15191E", ink="#E8EBEF", quiet_ink="#A9B1BC", grid="rgba(232,235,239,0.15)",
    lane="rgba(232,235,239,0.055)", bar_outline="#15191E", night_shade="rgba(96,120,190,0.20)",
    night="#3C4A75", night_ink="#FFFFFF", penumbra="#7C849B", day="#E9D9A0",
    day_ink="#2E2812", link="#8FA0B8", stop="#FF6B66",
    concern="#F0B429", remark="#15191E", casing_px=2.6,
    crew=("#56B4E9", "#FF9A5C"),
)


SEVERITY_SIGNS = {"stop": ("octagon", 16), "concern": ("triangle-up", 15), "remark": ("circle", 12)}
"""How a finding of each severity is drawn: symbol and size."""


def theme_named(name: str) -> Theme:
    """The theme ``light`` or ``dark``; `ScenarioError` for any other name."""
    if not isinstance(name, str) or name not in ("light", "dark"):
        raise ScenarioError.single("is no theme; use 'light' or 'dark'", column="theme", value=name)
    return LIGHT if name == "light" else DARK


def crew_inks(crew: Iterable[str], theme: Theme) -> dict[str, str]:
    """Crew member to the ink of what is theirs, in the given order."""
    return {who: theme.crew[number % len(theme.crew)] for number, who in enumerate(crew)}


def task_fills(tasks: Iterable[str], lanes: Iterable[Sequence[str]] = ()) -> dict[str, tuple[str, str]]:
    """Task id to (fill colour, letter), in the order of ``tasks``; the id "" gets a grey and no letter.

    Fills go round and round. Where two tasks follow each other in one of the ``lanes`` (the tasks that are
    worked on there, in order), the later of ``tasks`` takes the next fill that no neighbour has, if any.
    """
    beside: dict[str, set[str]] = defaultdict(set)
    for one, other in (pair for lane in lanes for pair in pairwise(filter(None, lane))):
        beside[one].add(other)
        beside[other].add(one)
    looks: dict[str, tuple[str, str]] = {}
    for number, task in enumerate(dict.fromkeys(filter(None, tasks))):
        taken = {looks[other][0] for other in beside[task] if other in looks and other != task}
        turn = [TASK_FILLS[(number + step) % len(TASK_FILLS)] for step in range(len(TASK_FILLS))]
        looks[task] = next((fill for fill in turn if fill not in taken), turn[0]), letter_of(number)
    return looks | {"": (NO_TASK_FILL, "")}


_DARK_IN_GREY = TASK_FILLS[2:]
"""Fills of a relative luminance of 0.4, all alike; that of the others, and of no task, is 0.6 to 0.8."""
PATTERNS = ("", *(f"{shape}{width}" for width, shape in product(("", "-wide"), (
    "rising", "falling", "upright", "level", "crossed", "squared"))))
"""Plain, then six directions of lines, dense and then wide."""


def patterns_of(fills: Mapping[str, tuple[str, str]]) -> dict[str, str]:
    """Task to one of ``PATTERNS``, so that of up to some 20 tasks no two look the same on grey paper."""
    numbers: dict[bool, count[int]] = defaultdict(count)
    return {task: PATTERNS[next(numbers[fill in _DARK_IN_GREY]) % len(PATTERNS)]
            for task, (fill, _) in fills.items()}


def letter_of(number: int) -> str:
    """A to Z, then AA, AB and so on, as the columns of a spreadsheet."""
    rest, last = divmod(number, 26)
    return (letter_of(rest - 1) if rest else "") + chr(ord("A") + last)


def fills_of(tasks: Iterable[Task], lanes: Mapping[str, Iterable[Activity]]) -> dict[str, tuple[str, str]]:
    """`task_fills` of a plan, so that tasks that follow each other in a lane differ in colour."""
    worked = ([row.task for row in lane if row.kind == WORK] for lane in lanes.values())
    return task_fills((task.task for task in tasks), worked)
