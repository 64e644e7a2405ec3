"""A job as forms: every key of its schema with what it says, what is assumed in its place and why, and reading what is typed."""

from gainwright.jobfile.forms.assumed import Assumed, assumed
from gainwright.jobfile.forms.describing import Field, Form, forms
from gainwright.jobfile.forms.fields import Key, Shape, shape
from gainwright.jobfile.forms.typing_in import changes, marks, source, typed
from gainwright.jobfile.forms.words import label

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
