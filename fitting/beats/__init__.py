"""From the beats of a night to its reading.

`text_file`, `wfdb_file` and `edf_file` turn a file into a `recording`; `artefacts` takes out what
is no sinus interval, by a published rule; `rmssd` makes the reading and says how exactly it is
known; `mornings` finds its date; `night` puts one night together, `many` a folder of them, `merge`
sets them against the readings that there are. Nothing is written.
"""
