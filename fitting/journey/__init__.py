"""How far a season has come, and the one next step from there."""
