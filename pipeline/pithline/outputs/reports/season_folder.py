"""A season's folder: the report, the tables, and what is sawn of each chosen log."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pithline.outputs.plan_folder import SCRIPT, plan_files
from pithline.outputs.reports.season_document import season_csv, season_json
from pithline.outputs.reports.season_page import season_html
from pithline.script.document import dumps

SEASON_SCRIPT = "logs/{}/cut-script.json"
"""Of a log by its id, within the folder."""


def season_files(
    document: Mapping[str, Any], scripts: Mapping[str, dict[str, Any]], full: bool, units: str, paper: str
) -> dict[str, bytes]:
    """Every file of a season's folder by its path.

    Parameters
    ----------
    document : mapping
        The season (docs/schemas/season.schema.json).
    scripts : mapping of str to dict
        Id of a sawn log -> its cut script.
    full : bool
        Whether sheets, templates, labels and preview are made of each too.
    units, paper : str
        Of these: "mm" or "in"; "A4" or "Letter".

    Raises
    ------
    ScriptError
        Where a part of a script is missing or misshapen.
    """
    files: dict[str, bytes] = {}
    for name, script in scripts.items():
        made = plan_files(script, units, paper) if full else {SCRIPT: dumps(script)}
        files |= {f"logs/{name}/{file}": content for file, content in made.items()}
    return files | {
        "season.json": season_json(document),
        "season.csv": season_csv(document),
        "season.html": season_html(document),
    }
