"""Edits of a job file's text that leave everything else unchanged: keys, stages, wiring, names, outputs."""

from gainwright.jobfile.editing.cables import add_cable, remove_cable, rename_cable
from gainwright.jobfile.editing.draft import Draft, TextDraft
from gainwright.jobfile.editing.form_values import set_keys
from gainwright.jobfile.editing.outputs import (
    add_input,
    add_instrument,
    add_output,
    remove_input,
    remove_instrument,
    remove_output,
)
from gainwright.jobfile.editing.places import ChainPlace, places
from gainwright.jobfile.editing.references import called, consumers, outputs_of, references_of, short_reference
from gainwright.jobfile.editing.renaming import rename_input, rename_instrument, rename_output, rename_stage
from gainwright.jobfile.editing.spans import comments
from gainwright.jobfile.editing.stages import (
    REQUIRED,
    add_branch,
    add_stage,
    move_stage,
    next_place,
    previous_place,
    remove_branch,
    remove_stage,
    rewire,
)
from gainwright.jobfile.editing.values import put_key, remove_key, set_key, unset_key

__all__ = [
    "REQUIRED",
    "ChainPlace",
    "Draft",
    "TextDraft",
    "add_branch",
    "add_cable",
    "add_input",
    "add_instrument",
    "add_output",
    "add_stage",
    "called",
    "comments",
    "consumers",
    "move_stage",
    "next_place",
    "outputs_of",
    "places",
    "previous_place",
    "put_key",
    "references_of",
    "remove_branch",
    "remove_cable",
    "remove_input",
    "remove_instrument",
    "remove_key",
    "remove_output",
    "remove_stage",
    "rename_cable",
    "rename_input",
    "rename_instrument",
    "rename_output",
    "rename_stage",
    "rewire",
    "set_key",
    "set_keys",
    "short_reference",
    "unset_key",
]
