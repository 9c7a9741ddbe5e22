"""Jobs: units of work with a key, run by any executor.

A job's result depends only on its own input files, the records it names, the settings and the
program itself; its key is the digest of all of those. A job takes one small argument and gives
back one small result; tables stay in files.
"""

import hashlib
import multiprocessing
import pickle
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any, Generic, TypeVar

import orjson

Argument = TypeVar("Argument")
Result = TypeVar("Result")

COMPUTING = ("numpy", "pandas", "pyarrow", "scikit-rf", "scipy")
DRAWING = ("altair", "jinja2", "markdown-it-py", "vl-convert-python")


@dataclass(frozen=True)
class Job(Generic[Argument, Result]):
    """One unit of work: a function of one argument, both known to a spawned process."""

    kind: str
    name: str
    key: str
    function: Callable[[Argument], Result]
    argument: Argument


def key_of(kind: str, parts: Mapping[str, Any]) -> str:
    """Digest of what a job's result depends on; `parts` must be plain data.

    The program's own files and the libraries that compute and draw are part of every key.
    """
    content = {"kind": kind, "parts": parts, "program": program_digest()}
    text = orjson.dumps(content, option=orjson.OPT_SORT_KEYS | orjson.OPT_NON_STR_KEYS)
    return hashlib.sha256(text).hexdigest()


def digest_of(result: object) -> str:
    """Digest of a small frozen result, by its text."""
    return hashlib.sha256(repr(result).encode("utf-8")).hexdigest()


@cache
def program_digest() -> str:
    """Digest of the program's own files, its templates and its libraries' versions."""
    package = Path(__file__).parent
    roots = [package, package.parent / "templates"]
    digest = hashlib.sha256()
    for root in roots:
        for path in sorted(root.rglob("*")):
            if path.is_file() and "__pycache__" not in path.parts:
                digest.update(path.relative_to(root).as_posix().encode())
                digest.update(hashlib.sha256(path.read_bytes()).digest())
    for library in (*COMPUTING, *DRAWING):
        digest.update(f"{library}={version(library)}".encode())
    return digest.hexdigest()


@contextmanager
def local_executor(workers: int) -> Iterator[Executor]:
    """Processes on this machine, spawned: drawing does not survive a fork."""
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=workers, mp_context=context) as pool:
        yield pool


def run(
    jobs: Sequence[Job[Argument, Result]],
    executor: Executor | None,
    done: Callable[[Job[Argument, Result]], None],
) -> tuple[Result, ...]:
    """Run all jobs and give their results in the order of the jobs.

    Without an executor they run here, one after the other.
    """
    if executor is None:
        results = []
        for job in jobs:
            results.append(job.function(job.argument))
            done(job)
        return tuple(results)
    futures = {executor.submit(job.function, job.argument): place for place, job in enumerate(jobs)}
    for future in as_completed(futures):
        future.result()
        done(jobs[futures[future]])
    by_place = {place: future for future, place in futures.items()}
    return tuple(by_place[place].result() for place in range(len(jobs)))


def keep(path: Path, result: object) -> None:
    """Keep a result for a later stage of the same build; written beside, then renamed."""
    beside = path.with_suffix(".part")
    beside.write_bytes(pickle.dumps(result, protocol=pickle.HIGHEST_PROTOCOL))
    beside.replace(path)


def kept(path: Path) -> Any:
    """A result that an earlier stage of the same build has kept; never a file from elsewhere."""
    return pickle.loads(path.read_bytes())
