"""One log's work, wherever it is done: read card and scan, fit once, plan each ask. Results travel as packed bytes."""

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
from pithline.files.tables import sha256_of
from pithline.yard.season.pool import Ask


@dataclass(frozen=True, slots=True)
class Job:
    """Plans wanted of one log. Paths must mean the same wherever the job is worked on."""

    log: str
    card: str
    mill: str | None
    products: str | None
    asks: tuple[Ask, ...]


@dataclass(frozen=True, slots=True)
class Result:
    """One ask's answer: a packed script, or why there is none."""

    ask: str
    script: bytes | None
    why: str = ""


def work(job: Job) -> tuple[Result, ...]:
    """All asks of a job. What goes wrong with one log is told in its results and never raised."""
    from pithline.files.scans import read_scan
    from pithline.logmodel.fit import fit_log
    from pithline.yard.pipeline import read_inputs
    from pithline.yard.season.pool import plan_log

    try:
        inputs, path = read_inputs(job.card, job.mill, job.products)
        scan = read_scan(path)
        model = fit_log(scan.points, inputs.card, default_up=scan.default_up)
    except Exception as error:  # the log's row tells it
        return tuple(Result(ask.name, None, _why(error)) for ask in job.asks)
    del scan
    results = []
    for ask in job.asks:
        try:
            script = plan_log(model, inputs, ask, lambda what, part: None)
            results.append(Result(ask.name, pack(script)))
        except Exception as error:  # the log's row tells it
            results.append(Result(ask.name, None, _why(error)))
    return tuple(results)


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


def key_of(job: Job, ask: Ask, settings: Sequence[Mapping[str, Any]]) -> str:
    """Content hash of all that a result depends on: card, scan, mill, products, practice, ask and the package's own code.

    Raises
    ------
    InputError
        If card or scan cannot be read.
    """
    from pithline.files.cards import read_card, scan_path

    card = read_card(job.card)
    parts = [sha256_of(job.card), sha256_of(scan_path(job.card, card)), asdict(ask), *settings, code_hash()]
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
