"""What is said of a squad, on a terminal and as a page."""
