"""Measuring: recordings, live input, responses and columns of meter readings."""
