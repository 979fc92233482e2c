"""Trials of one recovery measure: planned, followed, and judged by their own rule.

`stretches` follows a trial through a season, `randomisation` tests without a model, `effect`
turns days saved into rate ratios and chances, `rehearsal` simulates whole trials, `shrinkage`
judges many measures together; `plan`, `today`, `analyse`, `items` and `ledger` answer.
"""
