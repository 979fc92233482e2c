"""What is done with the model: read a season, sample, answer, report."""
