"""Report pages: one HTML file each that needs nothing else, not even a script.

Importing this package imports nothing; take the page you need from its module.
"""
