"""What a posterior has to say, as xarray Datasets; numpy and xarray alone."""
