"""The only modules that import drivers and file-format libraries: stores and buses, which implement ports, and formats."""
