"""What the surfaces are fitted to: cell means, the factors and their terms."""
