"""Gainwright: plan, prove and write down the gain structure of a vehicle's sound chain."""

__version__ = "0.1.0"
