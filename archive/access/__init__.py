"""The one gate: who may meet what, when, and why. Nothing reaches a person except through here.

Reading: `Gate` (levels, querysets, single items) and `showing` (what pages may hold). Writing: `writing` (items and
their ties) and `decisions` (conditions, audiences, trust, consent). `ledger` keeps the record of both.
"""
