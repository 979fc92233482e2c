"""Answers for the terminal, one module a question."""
