"""Many simulated clinics through the aligner: `python -m tests.hall.many [--seeds 50]`.

Prints a table and (with --json FILE) all figures; ends with 1 if a bar is missed. Some 600
clinics of half an hour take about an hour or two on two cores.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict
from pathlib import Path
from typing import Any

from tests.hall.hall import REVERBERATION_M, make_hall
from tests.hall.judge import Judged
from tests.hall.run import (
    VARIANTS,
    Summary,
    align_and_judge,
    missed,
    missed_coverage,
    summarise,
)

LOUDNESSES = (0.8, 1.5, 3.0, 6.0)


Job = tuple[str, float, int]  # variant, loudness, seed
Options = dict[str, Any]


def _one(job: Job, more: Options) -> tuple[Job, Judged, float]:
    """In a process of its own; the aligner's own time is what is measured."""
    variant, loudness, seed = job
    hall = make_hall(seed, loudness=loudness, **VARIANTS[variant], **more)
    began = time.monotonic()
    judged = align_and_judge(hall)
    return job, judged, time.monotonic() - began


def _table(rows: Iterable[dict[str, object]]) -> str:
    rows = list(rows)
    columns = list(rows[0])
    cells = [columns] + [[_cell(row[column]) for column in columns] for row in rows]
    widths = [max(len(line[n]) for line in cells) for n in range(len(columns))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in cells
    )


def _cell(value: object) -> str:
    if value is None:
        return "-"
    return f"{value:.2f}" if isinstance(value, float) else str(value)


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.hall.many", description=__doc__)
    parser.add_argument("--seeds", type=int, default=50, help="halls per kind and loudness")
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--loudness", type=float, nargs="+", default=list(LOUDNESSES))
    parser.add_argument("--variants", nargs="+", choices=list(VARIANTS), default=list(VARIANTS))
    parser.add_argument(
        "--reverberation-m",
        type=float,
        default=REVERBERATION_M,
        help="distance at which what the hall throws back is as strong as the direct sound",
    )
    parser.add_argument(
        "--starter-moves-m",
        type=float,
        default=0.0,
        help="how far the starter stands from the told place (standard deviation)",
    )
    parser.add_argument("--json", type=Path, help="write all figures into this file")
    options = parser.parse_args(argv)
    seeds = range(options.first_seed, options.first_seed + options.seeds)
    more = {
        "reverberation_m": options.reverberation_m,
        "starter_moves_m": options.starter_moves_m,
    }
    jobs = [
        (variant, loudness, seed)
        for variant in options.variants
        for loudness in options.loudness
        for seed in seeds
    ]
    judged: dict[Job, tuple[Judged, float]] = {}
    with ProcessPoolExecutor(options.workers) as pool:
        for done in as_completed([pool.submit(_one, job, more) for job in jobs]):
            job, one, took_s = done.result()
            judged[job] = (one, took_s)
            for what in one.wrong:
                print(f"WRONG {job}: {what}", flush=True)
            print(f"{len(judged)}/{len(jobs)} {job} {took_s:.1f} s", file=sys.stderr, flush=True)
    rows, bars, figures = [], [], []
    everything: list[Judged] = []
    for variant in options.variants:
        for loudness in options.loudness:
            its = [judged[variant, loudness, seed] for seed in seeds]
            clinics = [one for one, _ in its]
            everything += clinics
            summary = summarise(clinics)
            row = {"kind": variant, "loudness": loudness}
            row |= _row(summary, [took_s for _, took_s in its])
            rows.append(row)
            bars += [
                f"{variant}, {loudness} x: {bar}" for bar in missed(summary, loudness=loudness)
            ]
            figures.append(
                {"kind": variant, "loudness": loudness, "summary": asdict(summary),
                 "clinics": [asdict(one) for one in clinics]}
            )  # fmt: skip
    overall = summarise(everything)
    bars += [f"all: {bar}" for bar in missed_coverage(overall)]
    print(_table(rows))
    print(
        f"\nall {overall.clinics} clinics: stated ± holds {_cell(overall.coverage)} of the "
        f"errors, its median is {_cell(overall.stated_ratio)} x the median error"
    )
    if options.json:
        content = {"bars_missed": bars, "overall": asdict(overall), "cells": figures}
        options.json.write_text(json.dumps(content, indent=1))
    for bar in bars:
        print(f"MISSED {bar}")
    print("all bars held" if not bars else f"{len(bars)} bars missed")
    return 1 if bars else 0


def _row(summary: Summary, took_s: list[float]) -> dict[str, object]:
    half = summary.states_heard_half
    return {
        "clinics": summary.clinics,
        "sure/look/not": "/".join(str(half.get(s, 0)) for s in ("sure", "look", "not-found")),
        "sure": summary.sure_share,
        "median ms": summary.median_ms,
        "p95": summary.p95_ms,
        "worst": summary.worst_ms,
        "starts p95": summary.start_p95_ms,
        "bias": summary.start_bias_median_ms,
        "heard": summary.starts_heard_share,
        "covered": summary.coverage,
        "±/error": summary.stated_ratio,
        "wrong": len(summary.wrong),
        "unlogged": summary.unlogged_found_share,
        "false": summary.heard_falsely,
        "s each": float(sum(took_s) / len(took_s)),
    }


if __name__ == "__main__":
    sys.exit(main())
