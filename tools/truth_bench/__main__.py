"""Run the bench: ``python -m tools.truth_bench --surveys 200 --seed 1 --write docs/truth-bench.md``."""

from __future__ import annotations

import argparse
import os
import pickle
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path

import corromap
from tools.truth_bench.conditions import CONDITIONS, Condition
from tools.truth_bench.judge import Crash, Judgement, judge_seeds
from tools.truth_bench.table import page_of, rows_of

CHUNK = 1
FIRST = "flat"


def run(
    plan: Sequence[tuple[Condition, int]], seed: int, workers: int, keep: Path | None = None
) -> dict[str, list[Judgement | Crash]]:
    """Run surveys of several conditions.

    Parameters
    ----------
    plan : sequence of (Condition, int)
        Condition and number of surveys; survey i of each has seed ``seed * 100000 + i``.
    seed : int
        Of the run.
    workers : int
        Processes.
    keep : Path, optional
        Folder where each survey's result is put as soon as it is there, and taken from when it
        is: a run that was stopped goes on. One folder for one version of the program.

    Returns
    -------
    dict of str to list of Judgement
        By condition, in the order of the surveys.
    """
    jobs = []
    for condition, count in plan:
        seeds = [seed * 100_000 + i for i in range(count)]
        jobs += [(condition, seeds[i : i + CHUNK]) for i in range(0, count, CHUNK)]
    found: dict[str, dict[int, Judgement | Crash]] = {condition.name: {} for condition, _ in plan}
    if keep is not None:
        for condition, seeds in jobs:
            found[condition.name].update(_kept(keep, condition.name, seeds))
    jobs = [
        (condition, left) for condition, seeds in jobs if (left := [s for s in seeds if s not in found[condition.name]])
    ]
    # libraries that spread over all cores would fight with the processes
    os.environ.update({"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "OPENCV_FOR_THREADS_NUM": "1"})
    started, done, total = time.perf_counter(), 0, sum(count for _, count in plan)
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        futures = {pool.submit(judge_seeds, seeds, condition): condition.name for condition, seeds in jobs}
        for future in as_completed(futures):
            done_now = future.result()
            found[futures[future]].update({j.seed: j for j in done_now})
            if keep is not None:
                _keep(keep, futures[future], done_now)
            done = sum(len(part) for part in found.values())
            print(f"\r{done} of {total} surveys, {time.perf_counter() - started:.0f} s", end="", file=sys.stderr)
    print(file=sys.stderr)
    return {name: [part[s] for s in sorted(part)] for name, part in found.items()}


def _keep(folder: Path, name: str, judgements: Sequence[Judgement | Crash]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for j in judgements:
        (folder / f"{name}-{j.seed}.pickle").write_bytes(pickle.dumps(j))


def _kept(folder: Path, name: str, seeds: Sequence[int]) -> dict[int, Judgement | Crash]:
    """Results of an earlier run; the folder is the developer's own."""
    files = {seed: folder / f"{name}-{seed}.pickle" for seed in seeds}
    return {seed: pickle.loads(file.read_bytes()) for seed, file in files.items() if file.is_file()}


def main() -> None:
    """Parse the command line, run, print, write."""
    parser = argparse.ArgumentParser(prog="python -m tools.truth_bench", description="Figures against a known truth.")
    parser.add_argument("--surveys", type=int, default=200, help="surveys of the first condition")
    parser.add_argument("--others", type=int, default=0, help="surveys of each of the other conditions")
    parser.add_argument("--more", choices=sorted(CONDITIONS), nargs="*", default=(), help="others with --surveys too")
    parser.add_argument("--only", choices=sorted(CONDITIONS), nargs="*", help="no others but these (default: all)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--condition", choices=sorted(CONDITIONS), default=FIRST, help="the first condition")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--keep", type=Path, help="folder of results, to go on with a run that was stopped")
    parser.add_argument("--write", type=Path, help="the Markdown page")
    given = parser.parse_args()
    plan = [(CONDITIONS[given.condition], given.surveys)]
    counts = {name: given.surveys if name in given.more else given.others for name in CONDITIONS}
    named = [name for name in CONDITIONS if name != given.condition and (given.only is None or name in given.only)]
    plan += [(CONDITIONS[name], counts[name]) for name in named if counts[name]]
    started = time.perf_counter()
    found = run(plan, given.seed, given.workers, given.keep)
    for name, judgements in found.items():
        print(f"\n{name}")
        for what, value in rows_of(judgements):
            print(f"  {what}: {value}")
    print(f"\n{sum(len(j) for j in found.values())} surveys in {time.perf_counter() - started:.0f} s")
    if given.write is not None:
        command = f"python -m tools.truth_bench --surveys {given.surveys} --seed {given.seed}"
        command += f" --others {given.others}" if given.others else ""
        command += f" --only {' '.join(given.only)}" if given.only else ""
        command += f" --more {' '.join(given.more)}" if given.more else ""
        command += f" --condition {given.condition}" if given.condition != FIRST else ""
        command += f" --write {given.write.as_posix()}"
        given.write.write_text(page_of(found, command, corromap.__version__), encoding="utf-8")


if __name__ == "__main__":
    main()
