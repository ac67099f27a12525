"""One reader for each kind of file, all giving the same kind of samples."""
