"""Salvage: what can still be had of damaged archives and files, past bad sectors and failed check values.

Flows in: stores, kept headers, what is wanted. Flows out: Entries; begin, data, hole and end calls. Must not know:
promises. Nothing is accepted here: only the judge's digest does that.
"""
