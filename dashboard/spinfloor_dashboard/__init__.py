"""The Dash screens of spinfloor."""
