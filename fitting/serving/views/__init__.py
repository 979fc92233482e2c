"""The page's views: each answers one question, and takes the changes that belong to it."""
