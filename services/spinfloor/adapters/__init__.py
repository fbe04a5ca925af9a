"""The only modules that import drivers and file-format libraries; each implements a port."""
