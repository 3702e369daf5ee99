"""The page that says which plate to order."""
