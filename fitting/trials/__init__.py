"""Trials of one recovery measure: their design, their record and how they are judged.

`design` draws and re-derives the assignment, `record` keeps it in the season's folder (the
only module here that touches the disk), `stretches` follows a trial through a season,
`randomisation` tests without a model, `worth` turns days saved into rate ratios and
chances, `rehearsal` simulates whole trials, `shrinkage` judges many measures together.
"""
