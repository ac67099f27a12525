"""What tests of reading pictures share."""
