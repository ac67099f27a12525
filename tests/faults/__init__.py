"""What is done to the program so that it may not break."""
