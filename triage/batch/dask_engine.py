"""Batches on several machines: the same steps on a Dask cluster.

Dask's messages carry code, so a scheduler must be trusted and must listen on loopback or behind TLS. Any
other address is refused here.
"""

from __future__ import annotations

import secrets
import uuid
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from typing import Any
from urllib.parse import urlsplit

from triage.batch.outcomes import Cancel, Failed, Item, Ok, Result, check_cancel, run_one
from triage.errors import TriageError, WrongUsage

_AHEAD = 64
_LOOPBACK = ("127.0.0.1", "localhost", "::1")


def check_address(address: str | None) -> str:
    """Return a scheduler's address that may be used: loopback, or TLS. Raises WrongUsage for any other."""
    if not address:
        raise WrongUsage("No Dask scheduler is named.", "Give its address with --dask tcp://127.0.0.1:8786.")
    parts = urlsplit(address if "://" in address else f"tcp://{address}")
    if parts.scheme == "tls" or parts.hostname in _LOOPBACK:
        return address
    raise WrongUsage(
        f"{address} is neither on this machine nor behind TLS.",
        "Dask's messages are code: use a tls:// address, or a scheduler on 127.0.0.1.",
    )


def map_dask(
    step: Callable[[Item], Result],
    items: Iterable[Item],
    address: str | None,
    timeout_s: float,
    cancel: Cancel | None,
) -> Iterator[Ok[Item, Result] | Failed[Item]]:
    """Run a step over items on a cluster; a worker that dies is replaced and its items are done again.

    Raises WrongUsage for an address that may not be used, TriageError when the cluster cannot be reached.
    """
    address = check_address(address)
    _hide_node()
    try:
        import distributed
    except ImportError as error:
        raise TriageError("The Dask engine is not installed.", "pip install 'deck-triage[dask]'") from error
    try:
        client_of: Any = distributed.Client
        client = client_of(address, timeout="10s", set_as_default=False)
    except (OSError, TimeoutError) as error:
        raise TriageError(
            f"No Dask scheduler answers at {address}.", "Start one, or check the address."
        ) from error
    return _run(client, step, items, timeout_s, cancel)


def _hide_node() -> None:
    """Give ids a random node: clients are named by time-based UUIDs, which hold a card's number.

    Looking that number up also makes the system's UUID library write its clock file. A random node with
    the multicast bit set is what RFC 9562, section 6.10, names for this.
    """
    if vars(uuid).get("_node") is None:
        vars(uuid)["_node"] = secrets.randbits(48) | 1 << 40


def _run(
    client: Any,
    step: Callable[[Item], Result],
    items: Iterable[Item],
    timeout_s: float,
    cancel: Cancel | None,
) -> Iterator[Ok[Item, Result] | Failed[Item]]:
    waiting: deque[tuple[Item, Any]] = deque()
    source = iter(items)
    end: Any = object()
    with client:
        while True:
            while len(waiting) < _AHEAD and (item := next(source, end)) is not end:
                waiting.append((item, client.submit(run_one, step, item, pure=False, retries=2)))
            if not waiting:
                return
            check_cancel(cancel)
            item, future = waiting.popleft()
            yield _outcome(item, future, timeout_s)


def _outcome(item: Item, future: Any, timeout_s: float) -> Any:
    try:
        return future.result(timeout=timeout_s * 4)
    except TimeoutError:
        future.cancel()
        return Failed(item, f"took longer than {timeout_s * 4:.0f} s on the cluster")
    except OSError:
        raise
    except Exception as error:  # whatever a remote worker died of costs the item only
        return Failed(item, f"failed on the cluster ({type(error).__name__})")
