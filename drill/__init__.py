"""Restore drills for photographers: take copies away, restore from what is left, prove every byte."""

__version__ = "0.1.0"
