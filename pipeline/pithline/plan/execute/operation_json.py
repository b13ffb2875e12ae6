"""Operations as a cut script writes them, and back: the planner's only edge to their JSON. The replay reads scripts by itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from pithline.mill.limits import LimitCheck, MarkRoom
from pithline.plan.problem.operations import (
    Against,
    BladePlace,
    Cut,
    Lift,
    Mark,
    Marks,
    MillPose,
    Operation,
    Setting,
    Stage,
    Support,
    Tool,
    Vector,
)

Json = dict[str, Any]


def operations_to_json(operations: Iterable[Operation]) -> list[Json]:
    """Operations in the keys of the script, in their order."""
    return [_setting_to_json(each) if isinstance(each, Setting) else _cut_to_json(each) for each in operations]


def operations_from_json(written: Iterable[Mapping[str, Any]]) -> tuple[Operation, ...]:
    """Operations of a script that keeps its schema."""
    return tuple(_setting_from_json(each) if each["op"] == "setting" else _cut_from_json(each) for each in written)


def _setting_to_json(setting: Setting) -> Json:
    out: Json = {
        "op": "setting",
        "id": setting.id,
        "tool": str(setting.tool),
        "piece": setting.piece,
        "stage": str(setting.stage),
        "weight_kg": float(setting.weight_kg),
        "minutes": float(setting.minutes),
        "charged": bool(setting.charged),
        "checks": [_check_to_json(each) for each in setting.checks],
        "cautions": list(setting.cautions),
    }
    pose = setting.pose
    if pose is not None:
        out["up"] = list(pose.up)
        out["roll"] = pose.roll
        out["butt_at"] = pose.butt_at
        out["lifts"] = [{"bunk": each.bunk, "lift": each.lift} for each in pose.lifts]
        if pose.marks is not None:
            out["marks"] = {"butt": _mark_to_json(pose.marks.butt), "top": _mark_to_json(pose.marks.top)}
        if pose.room is not None:
            out["mark_room"] = {"down": pose.room.down, "up": pose.room.up}
    if setting.support is not None:
        out["support"] = str(setting.support)
        out["against"] = None
        if setting.against is not None:
            out["against"] = {"face": setting.against.face, "angle_deg": setting.against.angle_deg}
    if setting.set_up:
        out["set_up"] = setting.set_up
    return out


def _cut_to_json(cut: Cut) -> Json:
    out: Json = {
        "op": "cut",
        "id": cut.id,
        "tool": str(cut.tool),
        "setting": cut.setting,
        "piece": cut.piece,
        "normal": list(cut.normal),
        "offset": cut.offset,
        "kerf": cut.kerf,
    }
    if cut.blade is not None:
        marked = {} if cut.blade.from_mark is None else {"from_mark": cut.blade.from_mark}
        out |= {"blade_height": cut.blade.height, **marked, "width": cut.blade.width}
    return out | {"above": cut.above, "below": cut.below}


def _check_to_json(check: LimitCheck) -> Json:
    out: Json = {"what": check.what, "value": check.value, "limit": check.limit}
    return out | {"clearance_run": True} if check.clearance_run else out


def _mark_to_json(mark: Mark) -> Json:
    return {"name": mark.name, "point": list(mark.point), "height": mark.height}


def _setting_from_json(one: Mapping[str, Any]) -> Setting:
    against, support = one.get("against"), one.get("support")
    return Setting(
        Tool(one["tool"]),
        one["piece"],
        one["charged"],
        one["minutes"],
        Stage(one["stage"]),
        one["weight_kg"],
        tuple(_check_from_json(each) for each in one["checks"]),
        tuple(one["cautions"]),
        _pose_from_json(one) if "up" in one else None,
        None if support is None else Support(support),
        None if against is None else Against(against["face"], against["angle_deg"]),
        one.get("set_up", ""),
        one["id"],
    )


def _pose_from_json(one: Mapping[str, Any]) -> MillPose:
    marks, room = one.get("marks"), one.get("mark_room")
    return MillPose(
        _vector(one["up"]),
        one["roll"],
        one["butt_at"],
        tuple(Lift(each["bunk"], each["lift"]) for each in one["lifts"]),
        None if marks is None else Marks(_mark_from_json(marks["butt"]), _mark_from_json(marks["top"])),
        None if room is None else MarkRoom(room["down"], room["up"]),
    )


def _cut_from_json(one: Mapping[str, Any]) -> Cut:
    blade = None
    if "blade_height" in one:
        blade = BladePlace(one["blade_height"], one.get("from_mark"), one["width"])
    return Cut(
        one["id"],
        Tool(one["tool"]),
        one["setting"],
        one["piece"],
        _vector(one["normal"]),
        one["offset"],
        one["kerf"],
        one["above"],
        one["below"],
        blade,
    )


def _check_from_json(one: Mapping[str, Any]) -> LimitCheck:
    return LimitCheck(one["what"], one["value"], one["limit"], one.get("clearance_run", False))


def _mark_from_json(one: Mapping[str, Any]) -> Mark:
    return Mark(one["name"], _vector(one["point"]), one["height"])


def _vector(values: Iterable[float]) -> Vector:
    x, y, z = (float(value) for value in values)
    return x, y, z
