"""`python -m tests.feedback.rate_read.many [COUNT [FIRST]]`: the whole distribution of readings of
films drawn by lot. None of the limits in read.py was set on seeds from 1000 on."""

from __future__ import annotations

import sys

from tests.feedback.rate_read.test_read import outcomes


def main() -> None:
    count, first = (int(word) for word in [*sys.argv[1:], *("300", "1000")[len(sys.argv) - 1 :]])
    found = outcomes(range(first, first + count))
    sure = found["sure right"] + found["sure wrong"]
    for name, many in sorted(found.items()):
        print(f"{name:12} {many}")
    print(f"of {count}: sure {sure}, of these within 3 %: {found['sure right'] / max(sure, 1):.3f}")


if __name__ == "__main__":
    main()
