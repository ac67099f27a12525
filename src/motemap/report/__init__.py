"""Writers of reports: one format a file, text or bytes out, nothing printed.

Importing this package imports no writer; take the one you need from its module.
"""
