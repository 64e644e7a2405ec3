"""Changes to a job file's text that leave everything else as it stands: keys, stages, wiring, names, outputs."""

from gainwright.jobfile.editing.draft import Draft
from gainwright.jobfile.editing.form_values import fill
from gainwright.jobfile.editing.outputs import (
    add_input,
    add_instrument,
    add_output,
    remove_input,
    remove_instrument,
    remove_output,
)
from gainwright.jobfile.editing.places import ChainPlace, places
from gainwright.jobfile.editing.references import consumers, outputs_of, references_of, short
from gainwright.jobfile.editing.renaming import rename_input, rename_instrument, rename_output, rename_stage
from gainwright.jobfile.editing.spans import comments
from gainwright.jobfile.editing.stages import (
    REQUIRED,
    add_branch,
    add_stage,
    earlier,
    later,
    move_stage,
    remove_branch,
    remove_stage,
    rewire,
)
from gainwright.jobfile.editing.values import put, set_key, take_out, unset_key

__all__ = [
    "REQUIRED",
    "ChainPlace",
    "Draft",
    "add_branch",
    "add_input",
    "add_instrument",
    "add_output",
    "add_stage",
    "comments",
    "consumers",
    "earlier",
    "fill",
    "later",
    "move_stage",
    "outputs_of",
    "places",
    "put",
    "references_of",
    "remove_branch",
    "remove_input",
    "remove_instrument",
    "remove_output",
    "remove_stage",
    "rename_input",
    "rename_instrument",
    "rename_output",
    "rename_stage",
    "rewire",
    "set_key",
    "short",
    "take_out",
    "unset_key",
]
