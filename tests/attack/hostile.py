"""A scenario whose every free text is hostile: ``python -m tests.attack.hostile`` counts what got through.

It goes through every public output (`tests.attack.outputs`), is judged as text (`tests.attack.judge`) and is
opened in a real browser, in JupyterLab and as exported pages (`tests.attack.in_a_browser`). The command ends
with 1 when anything was executed, typeset, computed, forged or asked for.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from itertools import cycle
from pathlib import Path

import pandas as pd
import tomlkit

import planning_kit as pk
from planning_kit.inputs import format as fmt
from planning_kit.inputs.fields import GIVING_WAY
from planning_kit.inputs.raw import csv_row
from planning_kit.inputs.sign_offs import ACCEPTED_COLUMNS

SMALL = Path(__file__).parents[2] / "scenarios" / "small-outing"
HIT = "window.__hit=(window.__hit||0)+1"
FORGED = "FORGED"
"""Payloads with line ends go on with this word: it must never begin a line."""

PAYLOADS = (
    # computed by a spreadsheet
    '=HYPERLINK("http://outside.invalid","x")', "+1+1", "-2-3", "@SUM(1)",
    # run or drawn by a browser
    f"<img src=x onerror={HIT}>",
    f"</style></table></textarea><script>{HIT}</script>",
    f"</p><a href='javascript:{HIT}'>x</a> [x](javascript:{HIT}) ![x](http://outside.invalid/x.png)",
    f'"><svg onload={HIT}><image href=http://outside.invalid/x.svg>',
    "<style>@import 'http://outside.invalid/x.css'; * {background: url(http://outside.invalid/x)}</style>",
    "<b>bold</b><br><sup>up</sup> &lt;i&gt; &#36;x&#36;",
    # filled in by a template engine, plotly, or the page of a sheet
    "{{7*7}}{% raw %}${7*7}<%= 7*7 %>", "%{x} %{meta} %{customdata[0]}", "a & &amp; &P &D",
    "<para><font size=90>x</font><link href='http://outside.invalid'>x</link></para>",
    # typeset as mathematics
    "from $x^2$ to $y$", r"$$\frac12$$ costs \$5", r"\(x^2\) and \[y^2\]",
    r"\begin{equation}z\end{equation} see \ref{q} \\",
    rf"$\href{{javascript:{HIT}}}{{q}}\unicode{{60}}\require{{html}}\style{{color:red}}{{s}}$",
    # another line, another direction, letters that fonts lack
    f"one line\n{FORGED}: another", f"one line\r\n{FORGED}: another", f"one line\u2028{FORGED}: another",
    "a\u202eb\u2066c\u2069d\u200be", "中文 and \U0001f680",
)
TERMINAL = f"\x1b[31m<img src=x onerror={HIT}>$x^2$\u202e\r\n{FORGED}\x07\x9b1m"
"""For places that refuse control characters: what is said about them must be harmless, too."""
FREE_NAME = f"x_<img src=x onerror={HIT}>$x^2$ =1+1"
FOLDER_NAME = f'<img src=x onerror={HIT}>$x^2$ =HYPERLINK("x")\u202e\n{FORGED}'
ORBIT_NAME = f"<img src=x onerror={HIT}>$x^2$ =1+1.kvn"
_CHECKED = ("colour", "model")  # texts that take few values only
_NEEDED = {"gives_way.order": list(GIVING_WAY)}  # its source is refused alone
_TIGHT = {"limits.planned_min": 40, "limits.return_reserve_min": 29}  # findings that quote their sources


def hostile_scenario(scenario: pk.Scenario, texts: Sequence[str] = PAYLOADS) -> pk.Scenario:
    """``scenario`` with ``texts`` in turn in every free text of tables and settings, and as free columns."""
    turn = cycle(texts)
    for table in fmt.TABLES:
        frame = _with_rows(scenario, table.name)
        for field in table.fields:
            if field.kind == "text" and field.name in frame and field.name not in _CHECKED:
                begin = "warning: " if field.name == "warning" else ""  # without it the rule refuses it
                frame[field.name] = [begin + next(turn) for _ in range(len(frame))]
        frame[FREE_NAME] = [next(turn) for _ in range(len(frame))]
        scenario = scenario.with_table(table.name, frame)
    return scenario.with_settings(dict(_settings(turn)) | _NEEDED | _TIGHT)


def _with_rows(scenario: pk.Scenario, name: str) -> pd.DataFrame:
    """A table; some get a row where the scenario has none, so that their texts are shown."""
    frame = scenario.table(name)
    added = {"actors": {"actor": "DSK"},
             "hazards": {"hazard": "HZ", "class": "warning", "places": "MST", "limit": "no_contact",
                         "when": "beta<=90"},
             "actions": {"step": scenario.steps["step"].iloc[0], "number": 1, "who": "ground"},
             "states": {"state": "ST", "values": "a b", "at_start": "a", "at_end": "b"},
             "responses": {"response": "RS", "trigger": "glove cut", "call": "abort", "minutes_high": 30},
             "bodies": {"body": "BD", "kind": "dome", "ends": "0 0 2; 0 0 3"},
             "shots": {"shot": "SH", "from_step": scenario.steps["step"].iloc[0]},
             "windows": {"window": "w-1", "start": "2031-09-03T07:30:00Z", "end": "2031-09-03T09:30:00Z"}}
    return pd.DataFrame([added[name]], columns=frame.columns) if frame.empty and name in added else frame


def _settings(turn: Iterator[str]) -> Iterator[tuple[str, str]]:
    for section in fmt.SECTIONS:
        for field in section.fields:
            dotted = f"{section.name}.{field.name}" if section.name else field.name
            if field.kind == "text":
                yield dotted, next(turn)
            if section.has_sources:
                yield dotted + fmt.SOURCE_SUFFIX, next(turn)


def write_folder(above: Path, texts: Sequence[str] = PAYLOADS, name: str = FOLDER_NAME) -> Path:
    """A valid hostile folder in ``above``: also its own name, its orbit, free keys, log and sign-offs."""
    folder = hostile_scenario(pk.load_scenario(SMALL), texts).save(above / name).folder
    orbit = (folder / "orbit.kvn").read_text(encoding="utf-8")
    one_liners = [text for text in texts if text.isprintable()]
    orbit = orbit.replace("HERON ANNEX", one_liners[0]).replace("2030-900A", one_liners[-1])
    (folder / ORBIT_NAME).write_text(orbit.replace("COMMENT ", f"COMMENT {one_liners[0]} "), encoding="utf-8")
    (folder / "orbit.kvn").unlink()
    settings = folder / fmt.SCENARIO_FILE
    toml = tomlkit.parse(settings.read_text(encoding="utf-8"))
    toml["orbit"], toml[FREE_NAME] = ORBIT_NAME, list(texts)
    toml.add("x_more", tomlkit.item({FREE_NAME: {text: text for text in texts}}))
    settings.write_text(tomlkit.dumps(toml), encoding="utf-8")
    _write_log(folder, cycle(texts))
    _write_sign_offs(folder, texts)
    _write_accepted(folder, texts)
    return folder


def _write_log(folder: Path, turn: Iterator[str]) -> None:
    done = (("pet_zero", "", "7:30"), ("started", "A1", "7:30"), ("finished", "A1", "7:41"),
            ("started", "B1", "7:42"), ("started", "C1", "7:43"), ("finished", "B1", "7:46"))
    for event, step, time in done:
        pk.append_log(folder, event, step, f"2031-09-03T0{time}:00Z", by=next(turn), note=next(turn))


def _write_sign_offs(folder: Path, texts: Sequence[str]) -> None:
    """By hand: the package refuses what cannot be seen, an editor does not."""
    digests = (pk.load_scenario(folder).digest, "0" * 64)
    entries = [{"kind": "note" if number % 2 else "sign-off", "by": text, "at": "2031-09-01T00:00:00Z",
                "about": text, "words": text, "digest": digests[number % 2]}
               for number, text in enumerate(texts)]
    (folder / "sign_offs.toml").write_text(tomlkit.dumps({"review": entries}), encoding="utf-8")


def _write_accepted(folder: Path, texts: Sequence[str]) -> None:
    """A row for every finding, and rows for findings that there are not."""
    found = pk.time_plan(pk.load_scenario(folder)).findings.head(len(texts) // 2).astype(object)
    rows = [[f"{each.check}/{each.rule}", each.about, each.crew, each.step, each.value, each.limit, text,
             text, "2031-09-01"] for each, text in zip(found.fillna("").itertuples(), texts, strict=False)]
    rows += [["return/none", text, text, text, "", "", text, text, "2031-09-01"] for text in texts]
    lines = [",".join(ACCEPTED_COLUMNS), *(csv_row(map(str, row)) for row in rows)]
    (folder / fmt.ACCEPTED_FILE).write_text("\n".join(lines), encoding="utf-8", newline="")


def main() -> int:
    """Build, walk, judge, open; print the counts; 1 when anything got through."""
    from tests.attack.in_a_browser import look_in_a_browser
    from tests.attack.judge import judge
    from tests.attack.outputs import Attack

    above = Path(tempfile.mkdtemp())
    try:
        attack = Attack(write_folder(above), above)
        counts = judge(attack)
        print(f"as text: {counts}")
        for fault in counts.faults:
            print(f"  {fault}")
        seen = look_in_a_browser(above)
        print(f"in a browser: {seen}")
        return int(bool(counts.faults) or seen.got_through)
    finally:
        shutil.rmtree(above)


if __name__ == "__main__":
    sys.exit(main())
