"""Parts shared by the pages."""
