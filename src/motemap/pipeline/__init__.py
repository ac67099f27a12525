"""The only part that knows the order of the stages, from paths to reports.

Importing this package imports no stage; take what you need from its modules.
"""
