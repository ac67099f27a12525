"""Hand-built reports for tests of whatever writes them."""
