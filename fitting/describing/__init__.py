"""Whether the model describes a season: its residuals held against what the model says of them."""
