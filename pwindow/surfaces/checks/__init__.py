"""Whether the surfaces may be believed, and what speaks against them."""
