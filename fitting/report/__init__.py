"""Answers rendered: as terminal text and as JSON. No number is computed here."""
