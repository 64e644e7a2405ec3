"""Job files: reading, writing, errors with their location, the catalogue of assumptions, examples.

Files of cases (`jobfile.casefile`) and of class exercises (`jobfile.class_files`) are imported by module.
"""

from gainwright.jobfile.amplifier_facts import JUST_ABOVE_MUTING, input_range, remote_top_db
from gainwright.jobfile.assumed_values import DC_SHARES, Fact
from gainwright.jobfile.catalogue import facts, settings, volume_steps
from gainwright.jobfile.changes import with_changes
from gainwright.jobfile.controls import bands_of, controls, takes_bands, with_settings
from gainwright.jobfile.evidence import entry_mapping, read_entry, read_evidence, read_evidence_text, read_number
from gainwright.jobfile.examples import example_text, examples
from gainwright.jobfile.instruments import (
    Assumption,
    at_hand,
    instrument_assumptions,
    instruments,
    possible_instruments,
)
from gainwright.jobfile.reading import JobFile, errors_of, read_job, read_job_text
from gainwright.jobfile.schema import job_schema, schema_text, shipped_schema
from gainwright.jobfile.yaml_reading import refuse_other_file

__all__ = [
    "DC_SHARES",
    "JUST_ABOVE_MUTING",
    "Assumption",
    "Fact",
    "JobFile",
    "at_hand",
    "bands_of",
    "controls",
    "entry_mapping",
    "errors_of",
    "example_text",
    "examples",
    "facts",
    "input_range",
    "instrument_assumptions",
    "instruments",
    "job_schema",
    "possible_instruments",
    "read_entry",
    "read_evidence",
    "read_evidence_text",
    "read_job",
    "read_job_text",
    "read_number",
    "refuse_other_file",
    "remote_top_db",
    "schema_text",
    "settings",
    "shipped_schema",
    "takes_bands",
    "volume_steps",
    "with_changes",
    "with_settings",
]
