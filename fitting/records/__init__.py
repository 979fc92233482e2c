"""What was planned, promised and found, kept as JSON beside the season and only ever added to."""
