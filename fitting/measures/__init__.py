"""What a recovery measure does: with it against without, and the one verdict on it."""
