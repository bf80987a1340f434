"""Solving many variants: in this process, in several processes of this machine, or on a Dask cluster.

Whoever solves, a variant gives the same outcome; outcomes are handed over one by one as they are finished.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import active_children, get_context
from typing import Any

from castq.core.errors import CastqError, InputError, input_error
from castq.screening.levers import Change
from castq.screening.outcome import Outcome
from castq.screening.variant import Basis, solve

Done = Callable[[Change, Outcome], None]
# How often a variant is tried again after the process that solved it was lost.
RETRIES = 2
CONNECT_S = 10
# One thread a process: the processes share the cores among themselves.
_ONE_THREAD = dict.fromkeys(
    ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1"
)  # fmt: skip
_HERE: dict[str, Basis] = {}


def cores() -> int:
    """Return how many processor cores this process may use [-]."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def solve_here(basis: Basis, changes: Sequence[Change], done: Done) -> None:
    """Solve variants one after the other in this process.

    Parameters
    ----------
    basis : Basis
        What they share.
    changes : sequence of Change
        The variants.
    done : callable
        Called with each variant and its outcome.
    """
    for change in changes:
        done(change, solve(basis, change))


def solve_parallel(basis: Basis, changes: Sequence[Change], done: Done, workers: int) -> None:
    """Solve variants in several processes of this machine; one that is lost is started again.

    Parameters
    ----------
    basis : Basis
        What they share.
    changes : sequence of Change
        The variants.
    done : callable
        Called in this process with each variant and its outcome, as they are finished.
    workers : int
        Number of processes; never more than there are cores or variants [-].

    Raises
    ------
    CastqError
        If processes are lost again and again.
    """
    workers = min(workers, cores(), len(changes))
    if workers < 2:
        solve_here(basis, changes, done)
        return
    left = list(changes)
    for _ in range(RETRIES + 1):
        left = _one_pool(basis, left, done, workers)
        if not left:
            return
    raise CastqError(
        f"{len(left)} variants were lost {RETRIES + 1} times: the machine ends the processes, for want of memory?"
    )


def _one_pool(basis: Basis, changes: Sequence[Change], done: Done, workers: int) -> list[Change]:
    """Solve with one pool of processes; return what was not solved because a process was lost."""
    left = dict.fromkeys(changes)
    futures: dict[Future[Outcome], Change] = {}
    with _environment(_ONE_THREAD), _pool(basis, workers) as pool:
        for change in changes:
            try:
                futures[pool.submit(_solve_there, change)] = change
            except BrokenProcessPool:
                break
        for future in as_completed(futures):
            try:
                outcome = future.result()
            except BrokenProcessPool:
                continue
            del left[futures[future]]
            done(futures[future], outcome)
    return list(left)


@contextmanager
def _pool(basis: Basis, workers: int) -> Iterator[ProcessPoolExecutor]:
    before = {child.pid for child in active_children()}
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin, initargs=(basis,))
    try:
        yield pool
    except BaseException:
        # Ctrl-C: what is being solved is lost, what is finished was handed over.
        pool.shutdown(wait=False, cancel_futures=True)
        for child in active_children():
            if child.pid not in before:
                child.terminate()
        raise
    pool.shutdown()


@contextmanager
def _environment(values: dict[str, str]) -> Iterator[None]:
    """Set environment variables for processes started in the block."""
    before = {name: os.environ.get(name) for name in values}
    os.environ.update(values)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _begin(basis: Basis) -> None:
    """Set up a process: keep the basis, and leave Ctrl-C to the process that started it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _HERE["basis"] = basis


def _solve_there(change: Change) -> Outcome:
    return solve(_HERE["basis"], change)


def solve_on_cluster(basis: Basis, changes: Sequence[Change], done: Done, address: str) -> None:
    """Solve variants on a Dask cluster; the scheduler gives a variant whose worker was lost to another one.

    Parameters
    ----------
    basis : Basis
        What they share.
    changes : sequence of Change
        The variants.
    done : callable
        Called in this process with each variant and its outcome, as they are finished.
    address : str
        Address of the scheduler, for example tcp://host:8786.

    Raises
    ------
    InputError
        If Dask is not installed, nothing answers at the address, or workers are lost again and again.
    """
    distributed = _dask()
    try:
        client = distributed.Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise _cluster_error(address, "no Dask scheduler answers there", "check host and port") from error
    try:
        shared = client.scatter(basis, broadcast=True, hash=False)
        futures = {client.submit(solve, shared, change, pure=False, retries=RETRIES): change for change in changes}
        for future, outcome in distributed.as_completed(futures, loop=client.loop, with_results=True):
            done(futures[future], outcome)
    except (distributed.KilledWorker, distributed.TimeoutError) as error:
        lost = f"workers are lost again and again ({type(error).__name__})"
        raise _cluster_error(address, lost, "look at their memory, then run the same command again") from error
    finally:
        client.close()


def _dask() -> Any:
    try:
        import distributed
    except ImportError:
        raise input_error("command line", "--cluster", "Dask is not installed", "",
                          "install it: pip install castq[cluster]") from None  # fmt: skip
    return distributed


def _cluster_error(address: str, found: str, mend: str) -> InputError:
    return input_error("command line", "--cluster", f"{address}: {found}", "for example tcp://host:8786", mend)
