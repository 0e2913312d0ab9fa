"""How true a lab's own numbers are: what its recordings show, simulated jumps like its squad's, shares."""
