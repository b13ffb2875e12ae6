"""When memory of pages that were left is given back: in a lull, for a full collection holds up whoever asks meanwhile.

Python looks through every object it holds once a quarter more of them are there. With twenty pages open these are half a million,
which takes a third of a second, in the midst of an answer.
"""

from __future__ import annotations

import asyncio
import gc
import time
from dataclasses import dataclass, field

from pithline.shed.access import App, Receive, Scope, Send

LOOKED_EVERY = 1.0
"""Seconds between two looks whether it is time."""
LULL = 2.0
"""Seconds without a request, after which nobody is likely to wait."""
SELDOM, AT_LATEST = 60.0, 900.0
"""Seconds between two full collections: at least, and where there is no lull, at most."""
YOUNG, NEVER = (5_000, 5), 1_000_000_000
"""What is new is looked through as often as ever, some thousand objects at once; all of it only here."""


@dataclass(slots=True)
class Lulls:
    """When somebody last asked, and when all was last looked through. [s of a clock that only runs forward]"""

    asked: float = field(default_factory=time.monotonic)
    tidied: float = field(default_factory=time.monotonic)

    def heard(self) -> None:
        """Somebody asks."""
        self.asked = time.monotonic()

    def due(self, now: float) -> bool:
        """Whether all is to be looked through at this moment."""
        since = now - self.tidied
        return since > AT_LATEST or (since > SELDOM and now - self.asked > LULL)

    async def tidy(self) -> None:
        """Go on until the server ends, in the place of Python's own rule."""
        gc.collect()
        gc.freeze()  # the program itself stays: it is never looked through again
        gc.set_threshold(*YOUNG, NEVER)
        while True:
            await asyncio.sleep(LOOKED_EVERY)
            if self.due(time.monotonic()):
                gc.collect()
                self.tidied = time.monotonic()


class Hearing:
    """A layer of the server that hears whenever somebody asks; what open pages ask for by themselves over their sockets does not count."""

    def __init__(self, app: App, lulls: Lulls) -> None:
        self.app, self.lulls = app, lulls

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Note the time, and pass it on."""
        if scope["type"] == "http":
            self.lulls.heard()
        await self.app(scope, receive, send)
