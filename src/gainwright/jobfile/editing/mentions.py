"""Keep allowance, tones, access and the supply's cables up to date when what they name is renamed or removed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gainwright.jobfile.editing.references import outputs_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from gainwright.jobfile.editing.draft import Draft
    from gainwright.model import Path, Wiring

SECTIONS = ("allowance", "tones")


def known(draft: Draft) -> set[str]:
    """Return every name that allowance and tones may use."""
    found = {"all", *draft.plain["stages"]}
    for stage in draft.plain["stages"]:
        for output in outputs_of(draft, stage):
            found |= {output, f"{stage}.{output}"}
    return found


def drop_unknown(draft: Draft) -> None:
    """Remove the entries of things that are no longer there."""
    names = known(draft)
    _drop_unfed(draft)
    for stage, says in draft.plain["stages"].items():
        if says.get("strapped_to", stage) not in draft.plain["stages"]:
            draft.unset(("stages", stage, "strapped_to"))
    for section, allowed in (*((s, names) for s in SECTIONS), ("access", set(draft.plain["stages"]))):
        held = draft.plain.get(section)
        if not isinstance(held, dict):
            continue
        for key in [key for key in held if key not in allowed]:
            draft.unset((section, key))
        if draft.plain.get(section) == {}:
            draft.unset((section,))


def _drop_unfed(draft: Draft) -> None:
    """Remove what is no longer there from what the cables feed."""
    stages = draft.plain["stages"]
    there = {*stages, *(says["chassis"] for says in stages.values() if says.get("chassis"))}
    for cable, says in (draft.plain.get("supply") or {}).items():
        feeds = (says or {}).get("feeds") or []
        left = [name for name in feeds if name in there]
        if not left and feeds:
            draft.unset(("supply", cable, "feeds"))
        elif left != feeds:
            draft.set(("supply", cable, "feeds"), left)


def rename_fed(draft: Draft, old: str, new: str) -> None:
    """Rename a stage in what the cables feed."""
    for cable, says in (draft.plain.get("supply") or {}).items():
        for i, name in enumerate((says or {}).get("feeds") or []):
            if name == old:
                draft.set(("supply", cable, "feeds", i), new)


def update_mentions(
    draft: Draft, old: str, new: str, *, prefixes: Iterable[tuple[str, str]], paths: Iterable[Path]
) -> None:
    """Rename the entries of allowance and tones.

    Parameters
    ----------
    prefixes : whole keys that changed with the name, before and after.
    paths : the paths through the renamed thing, as wired before; when the old name still names another thing and
        each path goes through that too, the key is kept.
    """
    names = known(draft)
    changed = dict(prefixes)
    for section in SECTIONS:
        held = draft.plain.get(section)
        if not isinstance(held, dict):
            continue
        for key in list(held):
            if key in changed:
                draft.rename((section, key), changed[key])
            elif key == old and old not in names:
                draft.rename((section, key), new)
            elif key == old and not all(_named_elsewhere(path, old) for path in paths) and new not in held:
                draft.set((section, new), held[key])


def _named_elsewhere(path: Path, name: str) -> bool:
    """Whether a path goes through two things of one name, so that one may be renamed."""
    things = [node.output for node in path.nodes] + list(dict.fromkeys(n.stage for n in path.nodes)) + [path.speaker]
    return things.count(name) > 1


def paths_through(wiring: Wiring, stage: str, output: str = "") -> list[Path]:
    """Return the paths that go through a stage, or one of its outputs, or end at it."""
    return [
        path
        for path in wiring.paths
        if (path.speaker == stage and not output)
        or any(node.stage == stage and output in ("", node.output) for node in path.nodes)
    ]
