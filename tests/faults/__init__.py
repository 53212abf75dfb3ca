"""Faults made for real, between a real phone page and a real office, and an oracle over what is left of the records.

``python -m tests.faults --seed 7`` replays a run; ``--sabotage all`` shows that the oracle sees three spoilt
builds; ``--everything`` does it on three engines.
"""
