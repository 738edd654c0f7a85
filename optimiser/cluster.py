"""The same search on several machines: an executor over a dask.distributed cluster that the user runs.

We only connect. Where the cluster is and by which certificates it is reached stays in this process: neither
is written to a run, nor shown. The library is loaded when a cluster is asked for, never before.
"""

from __future__ import annotations

import asyncio
import logging
import ssl
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any, ParamSpec, TypeVar

from optimiser import dispatch
from optimiser.errands import TASKS, digest_of, packed, passport, trial
from optimiser.problem import Problem
from optimiser.workers import SchedulerGone

P = ParamSpec("P")
T = TypeVar("T")

# How long a scheduler may take to answer the first time, s.
CONNECT = 10.0
# How long the first look at the workers may take: on a new machine they compile the kernel, s.
FIRST_LOOK = 120.0
# Whose loggers tell addresses.
LOUD = ("distributed", "dask", "tornado", "asyncio")
NEVER_AWAITED = "coroutine .* was never awaited"


class ClusterError(ValueError):
    """A cluster that cannot be used as asked, in words for the user; never with an address or a path."""


@dataclass(frozen=True)
class Access:
    """Where a cluster's scheduler is and what proves who we are. Does not show itself when printed."""

    address: str = field(repr=False)
    ca: Path | None = field(default=None, repr=False)
    cert: Path | None = field(default=None, repr=False)
    key: Path | None = field(default=None, repr=False)

    @property
    def secure(self) -> bool:
        """Whether the connection is encrypted and both ends are known."""
        return self.ca is not None

    @property
    def url(self) -> str:
        """The address with its scheme."""
        scheme = "tls" if self.secure else "tcp"
        return self.address if "://" in self.address else f"{scheme}://{self.address}"

    def check(self) -> None:
        """Raise ClusterError for what can be seen to be wrong before anything is sent."""
        scheme, _, rest = self.url.partition("://")
        if "@" in rest:
            raise ClusterError(
                "--cluster: a user name or password in the address is not understood; "
                "give certificates with --cluster-ca, --cluster-cert and --cluster-key"
            )
        if scheme not in ("tcp", "tls") or not rest.rpartition(":")[2].isdigit():
            raise ClusterError("--cluster: not an address: HOST:PORT or tls://HOST:PORT is wanted")
        if self.key is not None and self.cert is None:
            raise ClusterError("--cluster-key is given without --cluster-cert")
        if (self.ca is None) != (self.cert is None):
            raise ClusterError("--cluster-ca and --cluster-cert are only of use together")
        if self.secure != (scheme == "tls"):
            raise ClusterError(
                "--cluster: a tls:// address and --cluster-ca with --cluster-cert go together"
            )
        self._check_certificates()

    def _check_certificates(self) -> None:
        files = {"--cluster-ca": self.ca, "--cluster-cert": self.cert, "--cluster-key": self.key}
        for option, path in files.items():
            if path is not None:
                try:
                    path.read_bytes()
                except OSError as error:
                    raise ClusterError(f"{option}: {error.strerror}") from None
        if self.ca is None or self.cert is None:
            return
        try:
            context = ssl.create_default_context(cafile=self.ca)
        except ssl.SSLError:
            raise ClusterError("--cluster-ca: not a certificate in PEM form") from None
        try:
            # a pass phrase would be asked for at each connection, all night
            context.load_cert_chain(self.cert, self.key, password=lambda: b"")
        except (ssl.SSLError, ValueError):
            raise ClusterError(
                "--cluster-cert, --cluster-key: not a certificate in PEM form with its own key "
                "(or the key is locked by a pass phrase)"
            ) from None


class ClusterExecutor(Executor):
    """An executor whose tasks are done by the workers of a cluster.

    Takes the tasks of :mod:`optimiser.workers`. A future ends with the task's result, with WorkerDied or with
    SchedulerGone. Making one connects, and judges the workers that are there.

    Raises ClusterError where the library is missing, no scheduler answers, or all workers are refused.
    """

    def __init__(
        self, access: Access, problem: Problem, *, lost_after: float | None = None
    ) -> None:
        need_library()
        access.check()
        self.access = access
        self._notices: SimpleQueue[str] = SimpleQueue()
        self._open = threading.Event()
        self._lock = threading.Lock()
        self._over = False
        self._error: ClusterError | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._dispatcher: dispatch.Dispatcher | None = None
        data = packed(problem)
        order = {"passport": passport(), "digest": digest_of(data)}
        carried = {"problem": data, "trial": trial(problem)}
        wait = dispatch.LOST_AFTER if lost_after is None else lost_after
        self._thread = threading.Thread(
            target=self._live, args=(order, carried, wait), name="cluster", daemon=True
        )
        self._thread.start()
        try:
            self._first_look()
        except BaseException:
            self.shutdown()
            raise

    # -- for the coordinator ----------------------------------------------------------------------------

    @property
    def workers(self) -> int:
        """Workers that are given builds now."""
        return len(self._dispatcher.fit) if self._dispatcher else 0

    @property
    def threads(self) -> int:
        """Their threads."""
        return sum(worker.threads for worker in self._dispatcher.fit) if self._dispatcher else 0

    @property
    def room(self) -> int:
        """How many tasks to keep handed out at this moment."""
        return sum(worker.most for worker in self._dispatcher.fit) if self._dispatcher else 0

    @property
    def trouble(self) -> str | None:
        """What keeps the search waiting, in words."""
        if self._dispatcher is None or not self._dispatcher.answering:
            return "the cluster does not answer: waiting for it"
        return None if self.workers else "no worker in the cluster: waiting for one"

    def notices(self) -> Iterator[str]:
        """What has happened since the last time, for the user and the log."""
        while True:
            try:
                yield self._notices.get_nowait()
            except Empty:
                return

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Queue a task: one of those that a worker knows by name, with its one argument."""
        if fn.__name__ not in TASKS or len(args) != 1 or kwargs:
            raise ValueError(f"not a task for a cluster: {fn.__name__}")
        future: Future[T] = Future()
        with self._lock:
            if self._over or self._dispatcher is None:
                raise SchedulerGone
            self._dispatcher.put(dispatch.Job(fn.__name__, args[0], future))
        self._call(self._dispatcher.wake.set)
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Leave the cluster. Builds under way there end unheard."""
        if self._call(self._close) and wait:
            self._thread.join(2 * dispatch.CALL)

    # -- the thread that lives with the cluster ---------------------------------------------------------

    def _call(self, function: Callable[..., None], *args: Any) -> bool:
        """Have the cluster's thread do something; False where it has ended."""
        loop = self._loop
        if loop is None or not self._thread.is_alive():
            return False
        try:
            loop.call_soon_threadsafe(function, *args)
        except RuntimeError:
            return False
        return True

    def _close(self) -> None:
        if self._dispatcher is not None:
            self._dispatcher.closing = True
            self._dispatcher.wake.set()

    def _live(self, order: dict[str, Any], carried: dict[str, Any], lost_after: float) -> None:
        """The thread's whole life: connect, dispatch, leave."""
        _quieten()
        try:
            asyncio.run(self._dispatch(order, carried, lost_after))
        except ClusterError as error:
            self._error = error
        except SchedulerGone:
            pass
        except Exception as error:
            # by its kind alone: its words may hold the address
            self._notices.put(f"the way to the cluster broke: {type(error).__name__}")
        finally:
            self._end()

    def _end(self) -> None:
        """Nothing is taken any more, and what came at the last moment is answered too."""
        with self._lock:
            self._over = True
            if self._dispatcher is not None:
                self._dispatcher.drop_queue()
        self._open.set()

    async def _dispatch(
        self, order: dict[str, Any], carried: dict[str, Any], lost_after: float
    ) -> None:
        self._loop = asyncio.get_running_loop()
        client = await self._connect()
        self._dispatcher = dispatch.Dispatcher(
            self._connect, order, carried, self._notices.put, lost_after
        )
        self._open.set()
        await self._dispatcher.run(client)

    async def _connect(self) -> dispatch.Client:
        """A connection to the scheduler.

        Raises ClusterError where there is none to be had.
        """
        import distributed

        library: Any = distributed
        security = None
        if self.access.ca is not None:
            security = library.Security(
                require_encryption=True,
                tls_ca_file=str(self.access.ca),
                tls_client_cert=str(self.access.cert),
                tls_client_key=str(self.access.key or self.access.cert),
            )
        client: Any = None
        try:
            client = library.Client(
                self.access.url,
                security=security,
                asynchronous=True,
                timeout=CONNECT,
                set_as_default=False,
            )
            # the library itself waits for ever where someone listens and says nothing
            await asyncio.wait_for(_ready(client), CONNECT)
            return client
        except Exception as error:
            if client is not None:
                await dispatch.closed(client)
            raise ClusterError(f"--cluster: {_why_not(error)}") from None

    def _first_look(self) -> None:
        """Wait until the workers that are there have been judged."""
        self._open.wait()
        until = time.monotonic() + FIRST_LOOK
        while self._error is None and time.monotonic() < until:
            if self._dispatcher is None or not self._thread.is_alive():
                break
            if self._dispatcher.settled:
                break
            time.sleep(0.05)
        if self._error is not None:
            raise self._error
        if self._dispatcher is None or not self._thread.is_alive():
            raise ClusterError("\n".join(["--cluster: the scheduler went away", *self.notices()]))
        if self._dispatcher.refused and not self._dispatcher.workers:
            told = "\n".join(self.notices())
            raise ClusterError(f"--cluster: no worker there can be used\n{told}")


async def _ready(client: dispatch.Client) -> None:
    """Wait until a client has reached its scheduler."""
    await client


def _why_not(error: BaseException) -> str:
    """Why there is no connection, in words that hold no address."""
    seen: BaseException | None = error
    while seen is not None:
        if isinstance(seen, ssl.SSLError):
            return "the scheduler there and these certificates do not go together"
        seen = seen.__cause__ or seen.__context__
    return f"no scheduler answers at that address within {CONNECT:.0f} s"


def need_library() -> None:
    """Raise ClusterError where the cluster's library is not installed."""
    try:
        import distributed  # noqa: F401
    except ImportError:
        raise ClusterError(
            "--cluster needs the extra 'cluster', which is not installed: "
            "pip install 'shimwright[cluster]'"
        ) from None


def _quieten() -> None:
    """Keep the library's own lines off the screen and out of logs: they hold addresses.

    What matters we tell. Each logger by itself: a user's configuration may have set any of them to speak.
    """
    from distributed.versions import VersionMismatchWarning

    known = [name for name in logging.root.manager.loggerDict if name.split(".")[0] in LOUD]
    for name in (*LOUD, *known):
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    # what of it can change a figure is in the workers' passports
    warnings.filterwarnings("ignore", category=VersionMismatchWarning)
    # of connections that ended while they were used: with their addresses
    warnings.filterwarnings("ignore", category=ResourceWarning)
    warnings.filterwarnings("ignore", message=NEVER_AWAITED, category=RuntimeWarning)
