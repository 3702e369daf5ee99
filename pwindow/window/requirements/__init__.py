"""What a product requires, as limits on the responses."""
