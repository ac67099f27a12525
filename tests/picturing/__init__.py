"""What the tests of pictures and pages share."""
