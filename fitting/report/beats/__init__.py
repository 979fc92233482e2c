"""The beats of a night for people: as text, and as a picture of one night."""
