"""What is wrong, with evidence: one module a kind of fault, one pure function in each."""
