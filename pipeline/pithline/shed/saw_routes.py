"""The saw's page: one file of its own that, once loaded, goes on without a connection; and what it sends when it has one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, JSONResponse, Response
from jinja2 import Environment, PackageLoader, StrictUndefined
from nicegui import app

from pithline.errors import InputError, PithlineError
from pithline.outputs.html_page import as_data
from pithline.shed.plan_view import kept_view
from pithline.shed.sawing import FOUND_FORMS, last_cut, read_state, with_events, write_found, write_sawing
from pithline.shed.state import Shed

LARGEST_BODY = 512 * 1024


def add_saw_routes(shed: Shed) -> None:
    """Give the server the saw's page and its addresses."""

    @app.get("/saw/{log}")
    def page(log: str, plan: str = "") -> Response:
        try:
            return HTMLResponse(_page(shed, log, plan))
        except PithlineError as error:
            return HTMLResponse(_template("refused.html").render(sentence=str(error)), 404)

    @app.get("/sawing/{log}")
    def sawing(log: str, plan: str = "") -> Response:
        try:
            folder, view = _plan(shed, log, plan)
        except PithlineError as error:
            return JSONResponse({"fault": str(error)}, 404)
        return JSONResponse(_told(shed, log, plan, read_state(folder, view["hash"])))

    @app.post("/sawing/{log}")
    async def put(request: Request, log: str, plan: str = "") -> Response:
        try:
            body = await _body(request)
            return JSONResponse(await run_in_threadpool(_put, shed, log, plan, body))
        except PithlineError as error:
            return JSONResponse({"fault": str(error)}, 400)

    @app.post("/replan/{log}")
    def replan(log: str, plan: str = "") -> Response:
        try:
            return JSONResponse(_replan(shed, log, plan))
        except PithlineError as error:
            return JSONResponse({"fault": str(error)}, 400)


def _plan(shed: Shed, log: str, plan: str) -> tuple[Path, dict[str, Any]]:
    """A plan's folder and view. InputError where there is no such plan, or its pages are not drawn."""
    entry = shed.yard.plan(log, plan)
    view = kept_view(shed.yard, entry.path, shed.units)
    if view is None:
        raise InputError("this plan's pages are not drawn yet; open the log's plans and let it be read.")
    return entry.path, view


def _page(shed: Shed, log: str, plan: str) -> str:
    folder, view = _plan(shed, log, plan)
    state = read_state(folder, view["hash"])
    data = {
        "log": log,
        "plan": plan,
        "hash": view["hash"],
        "units": view["units"],
        "steps": view["steps"],
        "measures": view["measures"],
        "forms": {kind: {"title": title, "fields": fields} for kind, (title, fields) in FOUND_FORMS.items()},
        "marks": view["marks"],
        "told": _told(shed, log, plan, state),
    }
    page: str = _template("saw.html").render(title=f"Sawing {log}", log=log, data=as_data(data))
    return page


def _told(shed: Shed, log: str, plan: str, state: dict[str, Any]) -> dict[str, Any]:
    """What the page hears of the state, and of a plan that is being made from it."""
    told = {key: state[key] for key in ("done", "heights", "found")}
    job = shed.jobs.state("replan", log)
    if job is not None and job.asked.get("plan") == plan:
        told["replan"] = {
            "alive": job.alive,
            "done": job.done,
            "fault": job.fault or ("it was broken off" if job.broken_off else ""),
            "what": job.what,
            "part": job.part,
            "out": job.out,
        }
    return told


async def _body(request: Request) -> Any:
    text = b""
    async for chunk in request.stream():
        text += chunk
        if len(text) > LARGEST_BODY:
            raise InputError("too much was sent at once; load the page again.")
    import json

    try:
        return json.loads(text)
    except ValueError:
        raise InputError("what was sent cannot be read; load the page again.") from None


def _put(shed: Shed, log: str, plan: str, body: Any) -> dict[str, Any]:
    folder, view = _plan(shed, log, plan)
    events = body.get("events") if isinstance(body, dict) else None
    if not isinstance(events, list):
        raise InputError("what was sent cannot be read; load the page again.")
    with shed.writing:  # two pages may tell at once
        state = with_events(read_state(folder, view["hash"]), events, frozenset(step["id"] for step in view["steps"]))
        write_sawing(folder, state)
    return _told(shed, log, plan, state)


def _replan(shed: Shed, log: str, plan: str) -> dict[str, Any]:
    """Plan what is left anew, from the last cut up to which all is sawn."""
    folder, view = _plan(shed, log, plan)
    state = read_state(folder, view["hash"])
    after, _ = last_cut(state, view["steps"], list(view["cuts"]))
    if after is None:
        raise InputError("nothing is ticked as sawn yet; put what you found onto the log's card, and plan it again.")
    write_found(folder, state)
    asked = {"plan": plan, "after": after, "units": shed.units, "paper": shed.setting("paper")}
    shed.jobs.start("replan", log, asked, shed.yard.next_plan(log))
    return _told(shed, log, plan, state)


def _template(name: str) -> Any:
    environment = Environment(
        loader=PackageLoader("pithline.shed", "static"), autoescape=True, undefined=StrictUndefined
    )
    return environment.get_template(name)
