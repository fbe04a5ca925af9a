"""What is kept and looked at afterwards: spins, decimated frames, what was learnt, the report."""
