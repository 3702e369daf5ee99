"""Where requirements are met: bands, maps, the recommended set-up, and what would do where none is."""
