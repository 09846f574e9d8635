"""One way for every command to reach a shop: hand the work to the service that owns it, or open it, or wait."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.commands.folders import open_or_busy
from dashboard.commands.terminal import fail, hint
from dashboard.serving import running
from dashboard.serving.running import HandoverFailed, Running
from dashboard.work.shop_work import Outcome

if TYPE_CHECKING:
    from ingest.shop.shop import Shop

PATIENCE_S = 60.0
"""How long a command waits for another one to give the shop back."""
LOOK_EVERY_S = 0.2

Opening = Callable[[Path], "tuple[Shop | None, str]"]


def work_on(
    folder: Path,
    remote: Callable[[Running], Outcome],
    local: Callable[[Shop], Outcome],
    opening: Opening = open_or_busy,
) -> Outcome:
    """Get work on a shop done, whoever owns it.

    Parameters
    ----------
    folder : Path
        Shop folder.
    remote, local : callable
        Ask a running service, or do it on the opened shop; both end in the same words.
    opening : callable
        Opens the shop, or says who owns it.
    """
    found = _reach(folder, opening)
    if isinstance(found, Running):
        try:
            return remote(found)
        except HandoverFailed as error:
            fail(f"The work could not be handed over: {error}.")
    try:
        return local(found)
    finally:
        found.close()


def own(folder: Path) -> Shop:
    """Open a shop to serve it; a command that has it now is waited for, a service ends this one."""
    found = _reach(folder, open_or_busy)
    if isinstance(found, Running):
        fail(f"{folder} is already served by process {found.pid} at {found.address}")
    return found


def _reach(folder: Path, opening: Opening) -> Running | Shop:
    """The service that owns the shop, or the shop, opened; ends the command when neither can be had."""
    until = time.monotonic() + PATIENCE_S
    told = False
    while True:
        found = running.find(folder)
        if found:
            return found
        shop, busy = opening(folder)
        if shop is not None:
            return shop
        if time.monotonic() > until:
            fail(f"{busy} It is still at it after {PATIENCE_S:.0f} s: wait until it is done, or stop it.")
        if not told:
            hint(f"{busy} Waiting for it.")
            told = True
        time.sleep(LOOK_EVERY_S)
