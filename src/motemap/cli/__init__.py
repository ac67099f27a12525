"""The command line: parses, calls the pipeline and a report writer, ends with a code.

Importing a module of this package imports click and nothing heavy; what costs is imported
inside the command that needs it.
"""
