"""Example job files to start from, each a different kind of system, all invented."""

from __future__ import annotations

import difflib
import importlib.resources

from gainwright.errors import CallError

__all__ = ["example_text", "examples"]

_ABOUT = {
    "two_way_and_sub": "two-way front and one subwoofer through a processor",
    "one_amplifier": "head unit and one subwoofer amplifier",
    "factory_converter": "factory unit with speaker-level outputs, converter and processor",
    "active_three_way": "fully active three-way front with a line driver",
    "bridged_pair": "two bridged mono amplifiers on one dual-coil subwoofer",
    "five_channel": "five channels in one chassis with a bass level control on a wire",
    "strapped_pair": "24 V truck with high-level inputs, a fixed gain and two strapped subwoofer amplifiers",
    "full_range": "full-range amplifier without any filter",
    "factory_equaliser": "factory radio whose equaliser moves with the volume, with load detection",
    "digital_player": "player on an optical lead into a processor with a master volume",
}


def examples() -> dict[str, str]:
    """Return example name -> description."""
    return dict(_ABOUT)


def example_text(name: str) -> str:
    """Return the text of an example.

    Raises
    ------
    CallError : there is no such example.
    """
    if name not in _ABOUT:
        near = difflib.get_close_matches(name, _ABOUT, n=1)
        raise CallError(
            f"there is no example {name!r}",
            code="unknown_example",
            rule=f"there is {', '.join(_ABOUT)}",
            remedy=f"did you mean {near[0]}?" if near else "",
        )
    return (importlib.resources.files(__name__) / f"{name}.yaml").read_text(encoding="utf-8")
