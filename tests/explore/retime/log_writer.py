"""A process that logs events one after the other and prints each id once it has it: for the tests."""

from __future__ import annotations

import sys

import planning_kit as pk


def main(path: str, name: str, count: int) -> None:
    for number in range(count):
        done = pk.append_log(path, "finished", f"{name}{number}", "2031-01-01T00:00:00Z",
                             by=name, note='all "good", went on')
        print(done, f"{name}{number}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]))
