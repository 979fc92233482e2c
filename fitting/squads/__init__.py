"""Squads: many athletes, each fitted alone, the better for what all of them show."""
