"""Verdict: importing the package costs a few hundredths of importing numpy and pandas; it may cost 1.5 times.

Run on demand: ``python -m tests.bench.bench_import``. What is asked for is loaded then: the ratios of the
first scenario read and the first plan timed are printed, too.
"""

from __future__ import annotations

import subprocess
import sys

RUNS = 5
LIMIT = 1.5
ASKED = {
    "import numpy, pandas": "import numpy, pandas",
    "import planning_kit": "import planning_kit",
    "a scenario read": "import planning_kit as pk; pk.load_scenario('scenarios/small-outing')",
    "a plan timed": "import planning_kit as pk; pk.time_plan(pk.load_scenario('scenarios/small-outing'))",
}
_TIMED = "import time; begun = time.process_time()\n{}\nprint(time.process_time() - begun)"


def seconds_of(code: str) -> float:
    """Processor seconds of the code in a new interpreter: the least of some runs."""
    command = [sys.executable, "-c", _TIMED.format(code)]
    return min(float(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
               for _ in range(RUNS))


def main() -> None:
    """Print each as a ratio to numpy and pandas."""
    spent = {name: seconds_of(code) for name, code in ASKED.items()}
    base = spent["import numpy, pandas"]
    for name, seconds in spent.items():
        print(f"{name:22} {seconds:6.3f} s  {seconds / base:5.2f} times")
    print(f"limit for the import: {LIMIT} times")


if __name__ == "__main__":
    main()
