"""One log's work, wherever it is done: read card and scan, fit once, plan all asks. Results travel as packed bytes."""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Any

from pithline.errors import PithlineError
from pithline.files.read import sha256_of
from pithline.plan.api import FULL, Effort, Objective
from pithline.yard.season.asks import Ask


@dataclass(frozen=True, slots=True)
class Job:
    """One piece of a log's work. Paths must mean the same wherever it is worked on.

    Parameters
    ----------
    log, card, mill, products
        Its id and files.
    asks : tuple of Ask
        The first names all that is ordered.
    what : str
        "plans": plans and bounds of all asks; "more": of all but the first; "script": the cut script of `plan`; "full":
        the planner's full search for the last ask.
    plan : str
        JSON of a plan of `log_plans.plan_data` and what orders take of it, for "script".
    keep : bytes
        The packed script that a full search is to hold its own against.
    effort : Effort
        Of the full search.
    places : tuple of float or None
        Where the log is crosscut, for "more": as its first answer found, which follows from the first ask and so is no part of the key.
    trims : tuple of float
        What each end is trimmed by beside the card's trims, by when it is sawn; every plan is carried out for each. [mm]
    """

    log: str
    card: str
    mill: str | None
    products: tuple[str, ...]
    asks: tuple[Ask, ...]
    what: str = "plans"
    plan: str = ""
    keep: bytes = b""
    effort: Effort = FULL
    places: tuple[float, ...] | None = None
    trims: tuple[float, ...] = (0.0,)


@dataclass(frozen=True, slots=True)
class Result:
    """A job's answer, packed, or why there is none."""

    data: bytes | None
    why: str = ""


def work(job: Job) -> Result:
    """A job's answer. What goes wrong with one log is told in its result and never raised."""
    from pithline.yard.one_log import fit_scan, plan_model
    from pithline.yard.request import Request, read_inputs
    from pithline.yard.season.asks import asked
    from pithline.yard.season.log_plans import plan_data, plans_of
    from pithline.yard.season.plan_script import script_of_plan

    try:
        inputs = read_inputs(job.card, job.mill, job.products)
        model, listed = fit_scan(inputs), inputs.products
        if job.what == "full":
            request = Request(Objective.VALUE, job.effort, keep=unpack(job.keep), rung="best")
            return Result(pack(plan_model(model, asked(inputs, job.asks[-1]), request).script))
        inputs = asked(inputs, job.asks[0])
        if job.what == "script":
            return Result(pack(script_of_plan(model, inputs, json.loads(job.plan), listed)))
        asks = job.asks if job.what == "plans" else job.asks[1:]
        plans, facts, one = plans_of(model, inputs, asks, places=job.places, trims=job.trims)
        found: dict[str, Any] = {
            "plans": [plan_data(plan, one) for plan in plans],
            "facts": [asdict(fact) for fact in facts],
            "parts": [[part.product, part.part.count] for part in one.parts],
            "places": list(one.places),
        }
        return Result(pack(found))
    except Exception as error:  # the log's row tells it
        return Result(None, _why(error))


def _why(error: Exception) -> str:
    if isinstance(error, PithlineError):
        return str(error)
    return f"a defect in pithline ({type(error).__name__}: {error}); `pithline plan` with this card shows it whole."


def pack(script: Mapping[str, Any]) -> bytes:
    """A script as compressed JSON."""
    return zlib.compress(json.dumps(script, separators=(",", ":")).encode(), 6)


def unpack(data: bytes) -> dict[str, Any]:
    """The script of packed bytes."""
    script: dict[str, Any] = json.loads(zlib.decompress(data))
    return script


def key_of(job: Job, settings: Sequence[Mapping[str, Any]]) -> str:
    """Content hash of all that a result depends on: card, scan, mill, products, practice, what is asked, how finely, the package's code.

    Raises
    ------
    InputError
        If card or scan cannot be read.
    """
    from pithline.files.cards import read_card, scan_path

    card = read_card(job.card)
    parts = [
        sha256_of(job.card),
        sha256_of(scan_path(job.card, card)),
        [asdict(ask) for ask in job.asks],
        job.what,
        job.plan,
        asdict(job.effort),
        job.trims,
    ]
    parts += [hashlib.sha256(job.keep).hexdigest(), *settings, code_hash()]
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


@cache
def code_hash() -> str:
    """Hash of the modules that a plan is made by."""
    import pithline

    root = Path(pithline.__file__).parent
    digest = hashlib.sha256(pithline.__version__.encode() if hasattr(pithline, "__version__") else b"")
    for path in sorted(root.rglob("*.py")):
        if path.relative_to(root).parts[0] not in ("cli", "outputs"):
            digest.update(path.read_bytes())
    return digest.hexdigest()
