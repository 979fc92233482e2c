"""Entries that can't be right: from rows and what is known of the athlete to reasons to ask.

Pure, and without numpy, so that a single line is judged in no time. `history` is what has been
logged, `foreseen` what a number was expected to be, `slips` what the hand may have meant; then a
rule a module: `readings`, `doses`, `labels`, `dates`, `twice`. `entries` puts them together for
one row or for many, `confirmed` is the record of what was said to be right.
"""
