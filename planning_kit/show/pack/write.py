"""Writing the pack: everything is made in memory first; then all files are put in place, or none."""

import json
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from planning_kit.campaign.campaign import Around, around_of
from planning_kit.explore.comparison import Given, TimedComparison, compare_revisions
from planning_kit.explore.odds.odds import TimedOdds, odds
from planning_kit.inputs.faults import Faults, SaveConflict, ScenarioError, must_be
from planning_kit.inputs.folder_files import digest_in, digest_of, read_plain, reason_of
from planning_kit.inputs.save import write_whole, writing
from planning_kit.inputs.shown_text import TextTable
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing import briefing
from planning_kit.show.pack.assemble import assemble
from planning_kit.show.pack.content import CAUTION
from planning_kit.show.pack.html_page import html_page
from planning_kit.show.pack.pdf import CARDS, card_bytes, pdf_bytes
from planning_kit.show.pack.xlsx import xlsx_bytes

MANIFEST = "review-pack.json"
_LEFT_BY_SYSTEMS = ("Thumbs.db", "desktop.ini")  # and names that begin with a dot


def write_pack(plan: TimedPlan, folder: str | Path, baseline: Given | None = None,
               chances: TimedOdds | None = None, around: Around | None = None) -> pd.DataFrame:
    """Write the review pack of a plan into ``folder``; gives the files: ``plan.write_pack`` says how.

    ``around``: what the outings before and this one leave behind, in a campaign; where it is not given it is
    looked up, if the scenario's folder stands in one.

    Raises `ScenarioError`, with nothing changed, for files of others there, a pack that someone edited, a
    folder that cannot be written, odds of another plan.
    """
    if not isinstance(folder, str | Path) or not str(folder).strip():
        raise ScenarioError.single("is no folder; give the path of one", column="folder", value=folder)
    target = Path(folder).absolute()
    _check_chances(plan, chances)
    with writing(target):  # a pack whose writing was interrupted is whole again from here on
        known = _earlier_pack(target)
    changed = None if baseline is None else compare_revisions(baseline, plan)
    files = pack_files(plan, chances, changed, around_of(plan) if around is None else around)
    put_pack(plan, target, {name: content for name, (content, _) in files.items()}, known)
    rows = [(name, what) for name, (_, what) in files.items()]
    return TextTable([*rows, (MANIFEST, "what was written, with digests")], columns=["file", "what"])


def put_pack(plan: TimedPlan, target: Path, files: Mapping[str, bytes], known: Mapping[str, str]) -> None:
    """Put the files of a pack and its list into ``target``, all or none.

    Raises `ScenarioError` where files there are not those of ``known`` any more.
    """
    data = {**files, MANIFEST: _manifest(plan, files)}
    try:
        with writing(target):
            write_whole(target, data, known)
            for name in set(known) - set(data):  # of an earlier pack that had more files
                (target / name).unlink(missing_ok=True)
    except SaveConflict as conflict:  # someone wrote into the folder while the pack was made
        names = ", ".join(dict.fromkeys(name for name in conflict.problems["table"] if name))
        raise ScenarioError.single(f"was changed meanwhile ({names}); nothing was written, try again",
                                   value=target) from None


def _check_chances(plan: TimedPlan, chances: object) -> None:
    """Raise `ScenarioError` for odds that are none, or that would stand in the pack of another plan."""
    if chances is None:
        return
    own = must_be(chances, TimedOdds, "chances", "must be the plan's odds, as plan.odds() gives them").timed
    if (own.scenario, own.pet_zero, own.now_min) != (plan.scenario, plan.pet_zero, plan.now_min):
        raise ScenarioError.single("are the odds of another plan; give those of this one, or none and they "
                                   "are computed", column="chances", value=own.scenario.settings.title)


def pack_files(plan: TimedPlan, chances: TimedOdds | None = None, revision: TimedComparison | None = None,
               around: Around = (None, None)) -> Mapping[str, tuple[bytes, str]]:
    """The files of a pack as bytes, each with what it is."""
    pack = assemble(plan, _odds(plan) if chances is None else chances, revision, around)
    brief, foot = briefing(plan), f"{CAUTION}\n{pack.stamp}"
    told = f"IN ONE MINUTE\n\n{brief.one_minute}\n\n{foot}\n\nAT LENGTH\n\n{brief.text}\n\n{foot}\n"
    files = {
        "review.html": (html_page(pack).encode(), "the pack as one page: open it in any browser, offline"),
        "review.pdf": (pdf_bytes(pack), "the pack to print"),
        "review.xlsx": (xlsx_bytes(pack), "its tables"),
        "briefing.txt": (told.encode(), "the plan in words: one minute, then long"),
    }
    for size in CARDS:
        for card in (*pack.pockets, *pack.cues):
            name = f"{'pocket-' if card in pack.pockets else 'cue-'}{card.key}-{size}.pdf"
            files[name] = card_bytes(pack, card, size), f"{card.title}, {size}"
    return files


def _odds(plan: TimedPlan) -> TimedOdds | str:
    """The odds, or why there are none: settings of the odds that make no sense do not stop a pack."""
    try:
        return odds(plan)
    except ScenarioError as fault:
        return str(fault)


def _manifest(plan: TimedPlan, data: Mapping[str, bytes]) -> bytes:
    content = {"review_pack": 1, "inputs": plan.scenario.digest,
               "pet_zero": f"{plan.pet_zero:%Y-%m-%dT%H:%M:%SZ}",
               "files": {name: digest_of(each) for name, each in data.items()}}
    return (json.dumps(content, indent=2) + "\n").encode()


def _earlier_pack(folder: Path) -> Mapping[str, str]:
    """Digests of the files of an earlier pack in ``folder``; `ScenarioError` for anything else there."""
    try:
        there = sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []
    except (OSError, ValueError) as error:
        raise ScenarioError.single(f"cannot be used: {reason_of(error)}; nothing was written",
                                   value=folder) from None
    faults, text = Faults(), read_plain(folder, MANIFEST) if MANIFEST in there else b"{}"
    known = _listed(text)
    if known and MANIFEST in there:
        known[MANIFEST] = digest_of(text)
    for name in there:
        if name.startswith(".") or name in _LEFT_BY_SYSTEMS:
            continue
        if name not in known:
            faults.add("", None, "folder", name, "is not a file of a review pack; choose another folder")
        elif (folder / name).is_dir() or digest_in(folder, name) != known[name]:
            faults.add("", None, "folder", name, "was changed since the pack was written; move it away first")
    faults.stop_if_any()
    return {name: digest for name, digest in known.items() if name in there}


def _listed(text: bytes) -> dict[str, str]:
    try:
        return {str(name): str(digest) for name, digest in json.loads(text).get("files", {}).items()}
    except (ValueError, AttributeError, RecursionError):
        return {}
