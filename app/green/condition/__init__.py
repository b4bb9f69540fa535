"""What readings say of the lots that stand here and of the rooms they stand in."""
