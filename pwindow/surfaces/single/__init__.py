"""One fitted surface: its terms, its variance components, its intervals."""
