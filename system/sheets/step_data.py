"""The step of the baffle as plain data."""

from __future__ import annotations

from typing import Any

from system.step import Balance, Setting, Step, Unjudged


def step(found: Step | Unjudged) -> dict[str, Any]:
    """`predict --json`, per variant: every figure in dB but where its name says otherwise."""
    if isinstance(found, Unjudged):
        return {"needed_db": None, "not_judged": found.why}
    return {
        "needed_db": found.needed,
        "step_db": found.step,
        "correction_db": found.correction,
        "target_db": found.asked,
        "scatter_db": found.scatter,
        "points": found.points,
        "low_hz": list(found.low),
        "high_hz": list(found.high),
        "low_gain_db": found.gain_low,
        "high_gain_db": found.gain_high,
        "frequency_hz": found.frequency.tolist(),
        "placement_db": found.placed.tolist(),
        "board_db": found.board.tolist(),
        "set_by": _setting(found.setting) if found.setting else None,
    }


def _setting(setting: Setting) -> dict[str, Any]:
    own = setting.own
    return {
        "ref": setting.reference,
        "kind": setting.part.kind,
        "value": own.value,
        "best": _balance(setting.best, own),
        "barred": _balance(setting.barred, own) if setting.barred else None,
        "impedance_bound_ohm": setting.bound,
        "tried": [_balance(each, own) for each in setting.tried],
    }


def _balance(balance: Balance, own: Balance) -> dict[str, Any]:
    return {
        "value": balance.value,
        "needed_db": balance.needed,
        "correction_db": balance.correction,
        "level_change_db": balance.level - own.level,
        "lowest_impedance_ohm": balance.lowest,
    }
