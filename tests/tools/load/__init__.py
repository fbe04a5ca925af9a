"""The load benchmark: how many sorties a machine carries before calls come late."""
