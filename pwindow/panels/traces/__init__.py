"""The page that measures scans and takes decisions about them."""
