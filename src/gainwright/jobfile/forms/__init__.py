"""A job as forms: every key of its schema with its value or what is assumed and why, and parsing of typed values."""

from gainwright.jobfile.forms.assumptions import Assumed, assumed
from gainwright.jobfile.forms.fields import Key, Shape, shape
from gainwright.jobfile.forms.form import Field, Form, forms
from gainwright.jobfile.forms.labels import label
from gainwright.jobfile.forms.typed_values import parse_field, parse_marks, parse_source

__all__ = [
    "Assumed",
    "Field",
    "Form",
    "Key",
    "Shape",
    "assumed",
    "forms",
    "label",
    "parse_field",
    "parse_marks",
    "parse_source",
    "shape",
]
