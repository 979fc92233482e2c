"""What athletes tell of each other: pooled from draws alone, or fitted jointly; numpy and PyMC."""
