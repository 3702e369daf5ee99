"""The page that chooses a set-up."""
