"""What is logged line by line, in words and as JSON; made without pandas."""
