"""From a season to its posterior: build, compile, sample, check, keep.

Import from the modules: `fit` needs PyMC and nutpie, `posterior` only xarray.
"""
