"""What lies where in an archive, from its structure alone: nothing is unpacked."""
