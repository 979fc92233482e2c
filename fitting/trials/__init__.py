"""Trials of one recovery measure: planned, followed, and judged by their own rule.

A trial is made of `stretches`; `followed` says how far it has come and what endangers it,
`randomisation` tests without a model, `effect` turns days saved into rate ratios, `rehearsal`
simulates whole trials and `sizes` tells the chance of a verdict from them; `plan`, `today`,
`analyse`, `items` and `ledger` answer.
"""
