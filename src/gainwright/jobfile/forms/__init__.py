"""A job as forms: every key of its schema with what it says, what is assumed in its place and why, and reading what is typed."""

from gainwright.jobfile.forms.assumptions import Assumed, assumed
from gainwright.jobfile.forms.fields import Key, Shape, shape
from gainwright.jobfile.forms.form import Field, Form, forms
from gainwright.jobfile.forms.labels import label
from gainwright.jobfile.forms.typed_values import changes, marks, source, typed

__all__ = [
    "Assumed",
    "Field",
    "Form",
    "Key",
    "Shape",
    "assumed",
    "changes",
    "forms",
    "label",
    "marks",
    "shape",
    "source",
    "typed",
]
