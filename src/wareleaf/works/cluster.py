"""Work handed to a cluster by its address: an executor, and plain words when the cluster fails.

A cluster is a Dask scheduler with workers (the ``distributed`` library) that hold the same
Wareleaf. It runs what is sent to it, so keep it inside your own network. What comes back is the
same to the last bit as from this machine, because the same functions run on the same chunks;
workers with other versions of Wareleaf or of the numerical libraries are refused for that reason.
"""

from __future__ import annotations

import logging
import platform
import re
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, Any

from wareleaf.measure.errors import BadInput

if TYPE_CHECKING:
    from distributed import Client

_ADDRESS = re.compile(r"(tcp|tls)://[A-Za-z0-9_.:\[\]-]+:\d{1,5}")
_CONNECT_S, _WORKER_S, _LOST_S, _LOOK_S = 8.0, 10.0, 15.0, 0.5


class ClusterLost(Exception):
    """The cluster stopped while it worked; the text says how."""


@contextmanager
def cluster_executor(address: str) -> Iterator[Executor]:
    """An executor on the workers of a cluster.

    Parameters
    ----------
    address : str
        Of the scheduler, ``tcp://host:port`` (``tls://`` when it is set up so).

    Raises
    ------
    BadInput
        No address, nobody there, no workers, workers with other versions, workers or scheduler
        that die at the work.
    """
    if not _ADDRESS.fullmatch(address):
        raise _bad(address, "is no address; give it like tcp://works.example:8786")
    with _quiet():
        client = _connected(address)
        try:
            _alike(client, address)
            with _Workers(client) as executor:
                yield executor
        except ClusterLost as lost:
            raise _bad(address, str(lost)) from lost
        finally:
            client.close(timeout=2.0)


def _bad(address: str, what: str) -> BadInput:
    return BadInput("cluster", address, f"cluster {address} {what}.")


def _connected(address: str) -> Client:
    from distributed import Client

    try:
        client = Client(address, timeout=_CONNECT_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise _bad(
            address,
            f"does not answer within {_CONNECT_S:.0f} s; check the address and that its scheduler "
            "runs, or leave it out to compute on this machine",
        ) from error
    return client


def _alike(client: Client, address: str) -> None:
    """Refuse a cluster without workers, or with workers of another house."""
    try:
        client.wait_for_workers(1, timeout=_WORKER_S)
    except TimeoutError as error:
        raise _bad(address, "has no workers; start some and try again") from error
    here, answered = versions(), 0
    for worker, there in client.run(versions, on_error="return").items():
        if isinstance(there, OSError):  # it went away while it was asked; others do the work
            continue
        if isinstance(there, Exception):
            raise _bad(
                address,
                f"has a worker, {worker}, that cannot load Wareleaf; install {here[0]} there",
            ) from there
        if there != here:
            raise _bad(
                address,
                f"has a worker, {worker}, with {', '.join(there)} where this machine has "
                f"{', '.join(here)}; make them the same, or the numbers may differ",
            )
        answered += 1
    if not answered:
        raise _bad(address, "has no workers that answer; start some and try again")


def versions() -> tuple[str, ...]:
    """What decides the last bit of a result: house, interpreter, libraries and kind of machine."""
    import numpy
    import scipy

    from wareleaf import __version__

    return (
        f"wareleaf {__version__}",
        f"python {platform.python_version()}",
        f"numpy {numpy.__version__}",
        f"scipy {scipy.__version__}",
        platform.machine(),
    )


class _Workers(Executor):
    """Hands work to the client, and gives up when scheduler or workers stay away."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self._waiting: set[Future[Any]] = set()
        self._lock, self._done = threading.Lock(), threading.Event()
        self._watch = threading.Thread(target=self._look, daemon=True)
        self._watch.start()

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Send one call to a worker."""
        answer: Future[Any] = Future()
        with self._lock:
            self._waiting.add(answer)
        remote = self._client.submit(fn, *args, pure=False, **kwargs)
        remote.add_done_callback(partial(self._take, answer))
        return answer

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Stop watching; what still waits is given up."""
        self._done.set()
        if wait:
            self._watch.join()

    def _take(self, answer: Future[Any], remote: Any) -> None:
        from distributed.scheduler import KilledWorker

        if remote.cancelled():
            self._settle(answer, error=ClusterLost("dropped the work; its scheduler went away"))
            return
        try:
            self._settle(answer, remote.result())
        except KilledWorker:
            self._settle(answer, error=ClusterLost(
                "lost its workers at the work again and again (memory, or they were stopped); "
                "nothing is half done, start them and try again"
            ))  # fmt: skip
        except Exception as error:
            self._settle(answer, error=error)

    def _settle(
        self, answer: Future[Any], result: Any = None, error: Exception | None = None
    ) -> None:
        with self._lock:
            if answer not in self._waiting:
                return
            self._waiting.discard(answer)
        if error is None:
            answer.set_result(result)
        else:
            answer.set_exception(error)

    def _look(self) -> None:
        """Watch the cluster; what waits fails when it has been away for too long."""
        seen = time.monotonic()
        while not self._done.wait(_LOOK_S):
            if self._trouble() is None:
                seen = time.monotonic()
            elif time.monotonic() - seen > _LOST_S:
                error = ClusterLost(f"{self._trouble() or 'was lost'} for {_LOST_S:.0f} s")
                for answer in tuple(self._waiting):
                    self._settle(answer, error=error)

    def _trouble(self) -> str | None:
        if self._client.status != "running":
            return "has not answered"
        workers = self._client.scheduler_info()["workers"]
        return None if workers else "has had no workers left"


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep the library's own log lines off the screen: a refusal says it in one sentence."""
    loggers = [logging.getLogger(n) for n in ("distributed.client", "distributed.comm")]
    levels = [each.level for each in loggers]
    for each in loggers:
        each.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        for each, level in zip(loggers, levels, strict=True):
            each.setLevel(level)
