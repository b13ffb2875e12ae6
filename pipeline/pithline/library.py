"""What a person does with pithline in a session of their own; `import pithline` gives it (docs/library.md).

The commands do the same through these functions. Heavy libraries are loaded by the first function that needs them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pithline.logmodel.card import Card
    from pithline.logmodel.model import LogModel
    from pithline.outputs.reports.appraisal_pictures import Pictures
    from pithline.plan.api import Monitor
    from pithline.script.replay import ReplayReport
    from pithline.yard.appraisal.terms import AppraisalTerms
    from pithline.yard.ladder_scripts import PlanScripts
    from pithline.yard.request import Inputs, Request

Script = dict[str, Any]
"""A cut script as JSON has it (docs/formats.md)."""


def read_card(path: str | Path) -> Card:
    """Read a log card, a TOML file.

    Raises
    ------
    InputError
        Where it cannot be read, or holds what cannot be used.
    """
    from pithline.files import cards

    return cards.read_card(path)


def read_inputs(card: str | Path, mill: str | Path | None = None, products: Sequence[str | Path] = ()) -> Inputs:
    """Read all that a log is planned by: its card, the mill, the product lists, and where its scan lies.

    Parameters
    ----------
    card : str or Path
        The log card, beside its scan.
    mill : str or Path, optional
        A mill file, or a bundled mill by name; the bundled portable mill where left out.
    products : sequence of str or Path
        Product lists: files, bundled ones by name, or "all"; the bundled guitar sets where none is named. All compete for the log.

    Raises
    ------
    InputError
        Where a file cannot be read, or holds what cannot be used.
    """
    from pithline.yard import request

    return request.read_inputs(card, mill, products)


def read_script(path: str | Path) -> Script:
    """Read a cut script that was written earlier.

    Raises
    ------
    InputError
        If the file cannot be read.
    ScriptError
        If it is no cut script.
    """
    from pithline.files import scripts

    return scripts.read_script(path)


def fit_scan(inputs: Inputs, pick: int | None = None, monitor: Monitor | None = None) -> LogModel:
    """Read the scan of a log and fit the log in it.

    Parameters
    ----------
    inputs : Inputs
        What was read for it.
    pick : int, optional
        Which log, where the scan shows several, 1 the largest.
    monitor : Monitor, optional
        Hears how far it is.

    Raises
    ------
    InputError
        Where the scan cannot be read.
    FitError
        Where it shows no one log.
    """
    from pithline.plan.api import SILENT
    from pithline.yard import one_log

    return one_log.fit_scan(inputs, pick, monitor or SILENT)


def plan_model(
    model: LogModel, inputs: Inputs, request: Request | None = None, monitor: Monitor | None = None
) -> PlanScripts:
    """Choose roll, lifts and cuts for a fitted log, and prove them by replay.

    Parameters
    ----------
    model : LogModel
        The fitted log.
    inputs : Inputs
        Card, mill and products.
    request : Request, optional
        What is asked: objective, effort, seed, locks; most sets at full effort where left out.
    monitor : Monitor, optional
        Hears how far it is, and may end the search.

    Returns
    -------
    PlanScripts
        `script`, the cut script, and `ladder`, the scripts of the shorter and longer plans beside it, by path.

    Raises
    ------
    InputError
        Where its ladder has no plan of the number asked for.
    MillError, PlanError
        Where the mill cannot hold the log, or no part fits.
    """
    from pithline.plan.api import SILENT
    from pithline.yard import one_log
    from pithline.yard.request import Request

    return one_log.plan_model(model, inputs, request or Request(), monitor or SILENT)


def plan_card(
    card: str | Path,
    request: Request | None = None,
    *,
    mill: str | Path | None = None,
    products: Sequence[str | Path] = (),
    monitor: Monitor | None = None,
) -> PlanScripts:
    """Read a card, fit its scan and plan the log: `read_inputs`, `fit_scan` and `plan_model` in one.

    Parameters
    ----------
    card : str or Path
        The log card, beside its scan.
    request : Request, optional
        What is asked; most sets at full effort where left out.
    mill : str or Path, optional
        A mill file, or a bundled mill by name; the bundled portable mill where left out.
    products : sequence of str or Path
        Product lists, as `read_inputs` takes them.
    monitor : Monitor, optional
        Hears how far it is, and may end the search.

    Returns
    -------
    PlanScripts
        As `plan_model` gives them.

    Raises
    ------
    PithlineError
        Where a file cannot be used, the scan shows no one log, or no plan fits.
    """
    from pithline.plan.api import SILENT
    from pithline.yard import one_log
    from pithline.yard.request import Request

    return one_log.plan_card(card, mill, products, request or Request(), monitor or SILENT)


def check_script(script: Mapping[str, Any]) -> ReplayReport:
    """Replay a cut script on the log it carries, independently of the planner.

    Returns
    -------
    ReplayReport
        `holds`, and the findings where it does not.

    Raises
    ------
    ScriptError
        Where a part of the script is missing or misshapen.
    """
    from pithline.script import check

    return check.check_script(script)


def replan_log(
    script: Mapping[str, Any],
    after: str,
    found: str | Path,
    request: Request | None = None,
    monitor: Monitor | None = None,
    name: str | None = None,
) -> Script:
    """Plan the rest of an opened log anew.

    Parameters
    ----------
    script : mapping
        The cut script that the log was sawn by.
    after : str
        The last cut that was sawn: its number on the sheet, or its id.
    found : str or Path
        The file of what was found, or done otherwise.
    request : Request, optional
        What is asked of the search.
    monitor : Monitor, optional
        Hears how far it is, and may end the search.
    name : str, optional
        What the script is called where something is wrong with it, such as its file.

    Raises
    ------
    InputError
        Where what was found cannot be read or put to the script.
    ScriptError
        Where the earlier script does not hold.
    """
    from pithline.files.found import found_as_read
    from pithline.plan.api import SILENT
    from pithline.yard import replan_log as replanning
    from pithline.yard.request import Request

    read = found_as_read(found)
    return replanning.replan_log(script, after, read, request or Request(), monitor or SILENT, (name, str(found)))


@dataclass(frozen=True, slots=True)
class Appraisal:
    """Logs appraised before they are bought.

    Attributes
    ----------
    document : dict
        Every log's row, the best buy first (docs/formats.md).
    pictures : list of Pictures
        Of each row, in the same order; None where a log could not be appraised.
    """

    document: dict[str, Any]
    pictures: list[Pictures | None]


def appraisal_terms(
    mill: str | Path | None = None,
    products: Sequence[str | Path] = (),
    priors: str | Path | None = None,
    *,
    bid_margin: float = 0.25,
    seed: int = 1,
    on: date | None = None,
) -> AppraisalTerms:
    """Read what all logs of a lot are appraised by, plans that make most of sets, and wood that dries as the bundled yard file says.

    `dataclasses.replace(terms, objective=Objective.VALUE)` asks for another objective.

    Parameters
    ----------
    mill, priors : str or Path, optional
        Their files; the bundled ones where left out.
    products : sequence of str or Path
        Product lists, as `read_inputs` takes them.
    bid_margin : float
        Share of the proceeds that stays with the buyer, 0 to 1.
    seed : int
        Of the logs drawn.
    on : date, optional
        The day months since felling are counted to; today where left out.

    Raises
    ------
    InputError
        Where a file cannot be used, or two name two currencies.
    """
    from pithline.yard.appraisal.terms import AppraisalFiles, read_terms

    return read_terms(AppraisalFiles(mill, tuple(products), priors), bid_margin, seed, on or date.today())


def appraise_logs(
    cards: Sequence[str | Path], terms: AppraisalTerms | None = None, workers: int = 1, monitor: Monitor | None = None
) -> Appraisal:
    """Appraise logs by their scans or tapes, and rank them.

    Parameters
    ----------
    cards : sequence of str or Path
        Log cards; one without a scan needs its tape.
    terms : AppraisalTerms, optional
        From `appraisal_terms`; the bundled files where left out.
    workers : int
        Processes that share the work; their number changes nothing in the result. More than one must be asked for under
        `if __name__ == "__main__":`, as for any spawned process.
    monitor : Monitor, optional
        Hears how far it is.

    Raises
    ------
    InputError
        The first card that cannot be used. A log that cannot be appraised is told in its row.
    """
    from pithline.plan.api import SILENT
    from pithline.yard.appraisal.lot import appraise_lot
    from pithline.yard.appraisal.terms import read_lot

    lot = read_lot([str(card) for card in cards])
    document, done = appraise_lot(lot, terms or appraisal_terms(), workers, (monitor or SILENT).report)
    return Appraisal(document, [log.pictures for log in done])


def write_plan(plan: PlanScripts | Mapping[str, Any], folder: str | Path, units: str = "mm", paper: str = "A4") -> None:
    """Write everything a plan's folder holds: cut script, its ladder, set-up sheet, shop cards, end templates, labels, 3D preview.

    Parameters
    ----------
    plan : PlanScripts or mapping
        From `plan_model`; or a cut script alone, which brings no ladder.
    folder : str or Path
        Made if it is not there; files of the same names are replaced, all or none.
    units, paper : str
        Of the sheets: "mm" or "in"; "A4" or "Letter".

    Raises
    ------
    InputError
        If the folder cannot be written.
    ScriptError
        Where a part of the script is missing or misshapen.
    """
    from pithline.files.write import check_folder, write_folder
    from pithline.outputs.plan_folder import plan_files
    from pithline.script.document import dumps

    script, ladder = (plan, {}) if isinstance(plan, Mapping) else (plan.script, plan.ladder)
    check_folder(folder)
    write_folder(folder, {**plan_files(script, units, paper), **{path: dumps(one) for path, one in ladder.items()}})


def write_appraisal(appraisal: Appraisal, folder: str | Path) -> None:
    """Write an appraisal as JSON, as a table and as a page.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    from pithline.files.write import write_folder
    from pithline.outputs.reports.appraisal_document import appraisal_csv, appraisal_json
    from pithline.outputs.reports.appraisal_page import appraisal_html

    files = {
        "appraisal.json": appraisal_json(appraisal.document),
        "appraisal.csv": appraisal_csv(appraisal.document),
        "appraisal.html": appraisal_html(appraisal.document, appraisal.pictures),
    }
    write_folder(folder, files)
