"""The proof: the shipped firmware against every fault in every phase, and against healthy days.

`setups` makes random benches and plans, `phases` the moments at which faults strike, `table` what
must follow (expected.toml), `monitor` the judge that believes no sensor and no firmware, `cells`,
`healthy` and `pairs` the runs, `seeded_bugs` broken firmware that must be found out, `pool` and
`results` the work and its file, `evidence` what it comes to. Everything follows from a seed.
"""
